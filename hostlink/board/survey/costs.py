"""Find the rules of cost that explain how many bytes each line took in program memory.

Lines and their measured bytes go in, a Storage comes out. Every combination of rules is tried, the
simplest first. The one that leaves the fewest lines for keywords with a cost of their own is
chosen. Lines that were set aside then show whether it predicts their cost.
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
    """Rules of cost. exceptions: how many keywords do not take one byte."""

    storage: Storage
    exceptions: int


def fit_storage(measured: Measured, rules: Rules) -> Storage | None:
    """Find the rules of cost from lines and their bytes, or None if no rules explain them.

    rules: of the board, for its keywords and program_bytes.
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
    """Return whether rules of cost predict the bytes of each line exactly."""
    now = dataclasses.replace(rules, storage=storage)
    return all(line_cost(line, now) == cost for line, cost in measured)


def _candidates(storage: Storage) -> Iterator[Storage]:
    """Yield every combination of rules, the simplest first, without overhead and exceptions."""
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
    """Return the overhead of a line and the exceptions that explain all lines."""
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
