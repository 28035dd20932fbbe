"""Compute the byte ledger: the size of each line in the board's memory, and the running total.

Sizes are in bytes, by the rules in `hostlink.listing.rules.Storage`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from hostlink.listing.parse import Line, Listing
from hostlink.listing.rules import Rules, Storage
from hostlink.listing.tokens import Span, scan

_SMALL = re.compile("[a-z]")

_LARGEST_HEAD = 6  # bytes of a line besides its text: its number, its length or link, its end

Standing = Literal["stored", "replaced", "deletes", "direct"]


@dataclass(frozen=True, slots=True)
class LedgerRow:
    """One line with its cost in bytes and the running total.

    standing: "stored"; "replaced" (by a later line with the same number), "deletes" (a bare number)
    or "direct" (no number). Only stored lines have a cost.
    """

    line: Line
    cost: int
    so_far: int
    standing: Standing = "stored"


@dataclass(frozen=True, slots=True)
class Ledger:
    """The cost of a listing.

    rows: in listing order. total: bytes of the program, including those of an empty program.
    limit: bytes that a program may take on the board, 0 if unknown.
    """

    rows: tuple[LedgerRow, ...]
    total: int
    limit: int

    @property
    def over(self) -> int:
        """Return the bytes above the limit, 0 if the program fits or the limit is unknown."""
        return max(0, self.total - self.limit) if self.limit else 0

    @property
    def free(self) -> int | None:
        """Return the bytes left, None if the limit is unknown."""
        return max(0, self.limit - self.total) if self.limit else None

    @property
    def fits(self) -> bool:
        """Return whether the program fits; true if the limit is unknown."""
        return not self.over


def measure(listing: Listing, rules: Rules) -> Ledger:
    """Compute the byte ledger of a listing under the rules of a board. Never raises.

    As on the board, only the last of several lines with the same number counts.
    """
    last = {line.number: place for place, line in enumerate(listing)}
    so_far = rules.storage.empty_bytes
    rows: list[LedgerRow] = []
    for place, line in enumerate(listing):
        standing = _standing(line, last[line.number] == place)
        cost = line_cost(line, rules) if standing == "stored" else 0
        so_far += cost
        rows.append(LedgerRow(line, cost, so_far, standing))
    return Ledger(tuple(rows), so_far, rules.storage.room)


def least_size(listing: Listing, rules: Rules) -> int:
    """Return the smallest number of bytes that a listing takes on any board.

    No board compresses quoted text and remarks, and each keyword, name or number takes at least one
    byte; two symbols may be stored as one. Common practice, no source.
    """
    return sum(1 + _least(line.text, rules) for line in listing.numbered().values())


def _least(text: str, rules: Rules) -> int:
    sizes = {"blank": 0, "word": 1, "name": 1, "number": 1, "symbol": 0}
    spans = scan(text, rules.language)
    return sum(sizes.get(span.kind, len(span.text.strip())) for span in spans)


def most_size(listing: Listing) -> int:
    """Return the largest number of bytes that a listing takes on any board.

    One byte for each character, and twice the largest overhead of a line in the shipped profiles.
    """
    return sum(len(line.typed) + 2 * _LARGEST_HEAD for line in listing.numbered().values())


def _standing(line: Line, is_last: bool) -> Standing:
    if line.number is None:
        return "direct"
    if not line.text:
        return "deletes"
    return "stored" if is_last else "replaced"


def line_cost(line: Line, rules: Rules) -> int:
    """Return the bytes that one numbered line takes when it is stored."""
    storage = rules.storage
    text = stored_text(line, storage)
    plain = storage.kind == "text" and not storage.squeezed
    size = len(text) if plain else _spans_size(text, rules)
    return storage.number_bytes + storage.length_bytes + size + storage.end_bytes


def stored_text(line: Line, storage: Storage) -> str:
    """Return the text that is stored after the number, with blanks by the rules of Storage."""
    if storage.blank_after_number == "all":
        return line.body
    if storage.blank_after_number == "kept":
        return line.body.removeprefix(" ")
    return line.text


def _spans_size(text: str, rules: Rules) -> int:
    """Return the bytes of a text, span by span.

    For boards that store keywords as tokens or drop blanks outside quotes and remarks.
    """
    storage = rules.storage
    if rules.language.capitals_only:
        text = _SMALL.sub("~", text)  # small letters form no keyword and no remark there
    sizes = {word.upper().replace(" ", ""): size for word, size in storage.tokens}
    fixed = {"number": storage.constant_bytes, "name": storage.name_bytes}

    def size(span: Span, before: Span | None) -> int:
        joined = (before.word or before.text) + span.text if before else ""
        if joined in sizes:
            return sizes[joined] - 1  # its first part was counted as one byte
        if storage.kind == "tokens" and span.kind == "word":
            return sizes.get(span.word, 1)
        if storage.kind == "tokens" and fixed.get(span.kind):
            return fixed[span.kind]
        return len(span.text)

    spans = scan(text, rules.language)
    if storage.squeezed:
        spans = tuple(span for span in spans if span.kind != "blank")
    return sum(map(size, spans, (None, *spans)))
