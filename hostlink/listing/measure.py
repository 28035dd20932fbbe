"""The byte ledger: what each line costs in the board's program memory, and the running total.

Sizes are bytes. The rules of cost are those of `hostlink.listing.rules.Storage`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from hostlink.listing.parse import Line, Listing
from hostlink.listing.rules import Rules, Storage
from hostlink.listing.tokens import Span, scan

_SMALL = re.compile("[a-z]")

_LARGEST_HEAD = 6  # bytes of a line beside its text: its number, its length or link, its end

Standing = Literal["stored", "replaced", "deletes", "direct"]


@dataclass(frozen=True, slots=True)
class LedgerRow:
    """One line with its cost in bytes and the running total after it.

    standing: "stored"; "replaced" (a later line has the same number, or deletes it), "deletes" (a
    bare number) or "direct" (no number). Only stored lines cost anything.
    """

    line: Line
    cost: int
    so_far: int
    standing: Standing = "stored"


@dataclass(frozen=True, slots=True)
class Ledger:
    """The cost of a listing.

    rows: in the order of the listing. total: bytes of the program, with what an empty one takes.
    limit: bytes that the board has for a program, 0 where unknown.
    """

    rows: tuple[LedgerRow, ...]
    total: int
    limit: int

    @property
    def over(self) -> int:
        """Bytes too many, 0 where the program fits or the limit is unknown."""
        return max(0, self.total - self.limit) if self.limit else 0

    @property
    def free(self) -> int | None:
        """Bytes left, None where the limit is unknown."""
        return max(0, self.limit - self.total) if self.limit else None

    @property
    def fits(self) -> bool:
        """Whether the program fits, as far as is known."""
        return not self.over


def measure(listing: Listing, rules: Rules) -> Ledger:
    """The byte ledger of a listing under the rules of a board.

    A number that occurs again counts as on the board: the last line stays. Never raises.
    """
    last = {line.number: place for place, line in enumerate(listing)}
    so_far = rules.storage.empty_bytes
    rows: list[LedgerRow] = []
    for place, line in enumerate(listing):
        standing = _standing(line, last[line.number] == place)
        cost = line_cost(line, rules) if standing == "stored" else 0
        so_far += cost
        rows.append(LedgerRow(line, cost, so_far, standing))
    return Ledger(tuple(rows), so_far, rules.storage.program_bytes)


def least_size(listing: Listing, rules: Rules) -> int:
    """Bytes that a listing takes at least, whatever a board's rules of cost are.

    No board stores quoted text and remarks shorter than they are, nor a word, name or number in no
    byte at all; two signs may be stored as one. Common practice, no source.
    """
    return sum(1 + _least(line.text, rules) for line in listing.numbered().values())


def _least(text: str, rules: Rules) -> int:
    sizes = {"blank": 0, "word": 1, "name": 1, "number": 1, "symbol": 0}
    spans = scan(text, rules.language)
    return sum(sizes.get(span.kind, len(span.text.strip())) for span in spans)


def most_size(listing: Listing) -> int:
    """Bytes that a listing takes at most, whatever a board's rules of cost are: each character
    one, and what comes with a line in the costliest of the shipped profiles, twice."""
    return sum(len(line.typed) + 2 * _LARGEST_HEAD for line in listing.numbered().values())


def _standing(line: Line, is_last: bool) -> Standing:
    if line.number is None:
        return "direct"
    if not line.text:
        return "deletes"
    return "stored" if is_last else "replaced"


def line_cost(line: Line, rules: Rules) -> int:
    """Bytes that one numbered line takes when it is stored."""
    storage = rules.storage
    text = stored_text(line, storage)
    plain = storage.kind == "text" and not storage.squeezed
    size = len(text) if plain else _spans_size(text, rules)
    return storage.number_bytes + storage.length_bytes + size + storage.end_bytes


def stored_text(line: Line, storage: Storage) -> str:
    """The part of a line that is kept after its number: blanks as Storage says."""
    if storage.blank_after_number == "all":
        return line.body
    if storage.blank_after_number == "kept":
        return line.body.removeprefix(" ")
    return line.text


def _spans_size(text: str, rules: Rules) -> int:
    """Bytes of a text whose keywords are stored as tokens, or whose blanks are not stored, each
    outside quotes and remarks."""
    storage = rules.storage
    if rules.language.capitals_only:
        text = _SMALL.sub("~", text)  # neither a keyword nor a remark begins with these
    sizes = {word.upper().replace(" ", ""): size for word, size in storage.tokens}
    fixed = {"number": storage.constant_bytes, "name": storage.name_bytes}

    def size(span: Span) -> int:
        if span.kind == "blank" and storage.squeezed:
            return 0
        if storage.kind == "tokens" and span.kind == "word":
            return sizes.get(span.word, 1)
        if storage.kind == "tokens" and fixed.get(span.kind):
            return fixed[span.kind]
        return len(span.text)

    return sum(map(size, scan(text, rules.language)))
