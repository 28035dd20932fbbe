"""What lines cost in program memory: the rules of cost that explain what each of them took.

Pure: lines and their measured bytes go in, a Storage comes out. Every combination of the rules is
tried, the simplest first, and the one is taken that leaves the fewest lines to be explained by a
keyword of its own cost. Lines that were kept aside then show whether it tells their cost too.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from hostlink.listing.measure import line_cost
from hostlink.listing.parse import Line
from hostlink.listing.rules import Rules, Storage
from hostlink.listing.tokens import scan

_LARGEST_ITEM = 8  # bytes that a number or a name may take by itself
_MOST_OVERHEAD = 16
_BLANKS: tuple[Literal["dropped", "kept", "all"], ...] = ("dropped", "kept", "all")

Measured = Sequence[tuple[Line, int]]


@dataclass(frozen=True, slots=True)
class Fit:
    """Rules of cost that explain the lines. exceptions: keywords that take other than one byte."""

    storage: Storage
    exceptions: int


def fit(measured: Measured, rules: Rules) -> Storage | None:
    """Find the rules of cost by lines and the bytes that each took; None where none explains them.

    rules: of the board, for its words. The storage has program_bytes of `rules`.
    """
    best: Fit | None = None
    for storage in _candidates(rules.storage):
        found = _explain(measured, dataclasses.replace(rules, storage=storage))
        if found is not None and (best is None or found.exceptions < best.exceptions):
            best = found
            if not found.exceptions:
                break
    return best.storage if best is not None else None


def explains(storage: Storage, measured: Measured, rules: Rules) -> bool:
    """Whether rules of cost tell exactly what each line took."""
    now = dataclasses.replace(rules, storage=storage)
    return all(line_cost(line, now) == cost for line, cost in measured)


def _candidates(storage: Storage) -> Iterator[Storage]:
    """Every combination of the rules, without overhead and exceptions, the simplest first."""
    plain = dataclasses.replace(
        storage, number_bytes=0, length_bytes=0, end_bytes=0, tokens=(), squeezed=False,
        constant_bytes=0, name_bytes=0,
    )  # fmt: skip
    for squeezed, blank in itertools.product((False, True), _BLANKS):
        yield dataclasses.replace(plain, kind="text", blank_after_number=blank, squeezed=squeezed)
    sizes = sorted(itertools.product(range(_LARGEST_ITEM + 1), repeat=2), key=sum)
    for squeezed, blank, (constant, name) in itertools.product((False, True), _BLANKS, sizes):
        yield dataclasses.replace(
            plain, kind="tokens", blank_after_number=blank, squeezed=squeezed,
            constant_bytes=constant, name_bytes=name,
        )  # fmt: skip


def _explain(measured: Measured, rules: Rules) -> Fit | None:
    """The overhead of a line and the exceptions with which these rules explain all lines."""
    rest = [cost - line_cost(line, rules) for line, cost in measured]
    overhead, _ = Counter(rest).most_common(1)[0]
    if not 0 <= overhead <= _MOST_OVERHEAD:
        return None
    odd = [
        (line, left - overhead)
        for (line, _), left in zip(measured, rest, strict=True)
        if left != overhead
    ]
    if odd and rules.storage.kind == "text":
        return None
    plain = {
        span.word
        for (line, _), left in zip(measured, rest, strict=True)
        if left == overhead
        for span in scan(line.text, rules.language)
    }
    tokens: dict[str, int] = {}
    for line, more in odd:
        own = [s.word for s in scan(line.text, rules.language) if s.word and s.word not in plain]
        if len(own) != 1 or tokens.setdefault(own[0], 1 + more) != 1 + more or 1 + more < 0:
            return None
    number = min(2, overhead)
    storage = dataclasses.replace(
        rules.storage,
        number_bytes=number,
        length_bytes=0,
        end_bytes=min(8, overhead - number),
        tokens=tuple(sorted(tokens.items())),
    )
    if overhead - number > storage.end_bytes:
        storage = dataclasses.replace(storage, length_bytes=overhead - number - storage.end_bytes)
    return Fit(storage, len(tokens))
