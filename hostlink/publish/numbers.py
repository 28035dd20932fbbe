"""Find the numbers in what a program prints: columns that can be drawn, or written as CSV.

Rules:
1. A row counts if it holds a number. Its fields are separated by blanks, commas, semicolons,
   colons, equals signs, and unit signs next to a number: 21%, $5, 21°.
2. Rows belong together if they have the same words around as many numbers. Of several kinds of row
   the one with the most numbers is shown, so that a question or a total is ignored. If that is a
   single row without words, its numbers are one column.
3. Columns are named by the words before their numbers, else by the last row without numbers before
   the first, if it has a word with letters for each column.
4. If the first of several columns only rises, it is the x axis; otherwise rows are counted.
5. However many rows come, a column is kept as at most MOST_SPANS spans, each with its lowest and
   highest value, so that the time for drawing is bounded.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

MOST_SPANS = 512
_MOST_KINDS = 50  # of rows; those of later kinds are ignored
_LONGEST = 10_000  # characters of a row that is searched for numbers
MOST_SERIES = 8  # columns that are drawn
_MOST = 1e300  # a larger number is not a measurement, and leaves no room for an axis around it
_PARTS = re.compile(r"[\s,;:=%$°]+")
_LETTER = re.compile(r"[^\W\d_]")
_COLUMNS = re.compile(r"\s{2,}|[\t,;]")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[Ee][+-]?[0-9]{1,3})?")
RowKind = tuple[str, ...]
"""The words of a row before each number and after the last, "" for none."""


def fields_of(row: str) -> tuple[RowKind, list[str]] | None:
    """Return the words around the numbers of a row, and the numbers as printed; None if none."""
    if len(row) > _LONGEST:
        return None
    words, kind, numbers = list[str](), list[str](), list[str]()
    for part in _PARTS.split(row):
        if _NUMBER.fullmatch(part) and abs(float(part)) <= _MOST:
            kind.append(" ".join(words))
            words = []
            numbers.append(part)
        elif part:
            words.append(part)
    return ((*kind, " ".join(words)), numbers) if numbers else None


@dataclass
class Columns:
    """The numbers of one kind of row. rows: how many. rises: the first column only rises.

    lows, highs: of each column, by span. switched: the values are only off and on, for which two
    rows of a drawing suffice.
    """

    names: tuple[str, ...]
    rows: int = 0
    rises: bool = True
    lows: list[list[float]] = field(default_factory=list)
    highs: list[list[float]] = field(default_factory=list)
    switched: bool = False
    _per_span: int = 1
    _in_span: int = 0
    _last: float = -math.inf

    def add(self, numbers: Sequence[float]) -> None:
        """Take the numbers of a row."""
        self.rows += 1
        self.rises &= numbers[0] > self._last
        self._last = numbers[0]
        if not self.lows:
            self.lows, self.highs = [[] for _ in numbers], [[] for _ in numbers]
        for low, high, number in zip(self.lows, self.highs, numbers, strict=True):
            if self._in_span:
                low[-1], high[-1] = min(low[-1], number), max(high[-1], number)
            else:
                low.append(number)
                high.append(number)
        self._in_span = (self._in_span + 1) % self._per_span
        if self._in_span == 0 and len(self.lows[0]) == MOST_SPANS:
            self._join_spans()

    def _join_spans(self) -> None:
        self._per_span *= 2
        self.lows = [list(map(min, low[::2], low[1::2])) for low in self.lows]
        self.highs = [list(map(max, high[::2], high[1::2])) for high in self.highs]

    @property
    def count(self) -> int:
        """Return how many numbers were taken."""
        return self.rows * len(self.names)

    @property
    def has_x(self) -> bool:
        """Return whether the first column is the x axis."""
        return self.rises and len(self.names) > 1 and self.rows > 1

    @property
    def x_name(self) -> str:
        """Return the name of the x axis."""
        return self.names[0] if self.has_x else "row"

    @property
    def x(self) -> list[float]:
        """Return where each span begins on the x axis."""
        if self.has_x:
            return self.lows[0]
        return [1.0 + at * self._per_span for at in range(len(self.lows[0]))]

    def series(self) -> list[tuple[str, list[float], list[float]]]:
        """Return name, lowest and highest values of the columns to draw, MOST_SERIES at most."""
        every = list(zip(self.names, self.lows, self.highs, strict=True))
        return every[self.has_x :][:MOST_SERIES]


class Numbers:
    """The numbers in printed rows, taken row by row."""

    def __init__(self, rows: Iterable[str] = ()) -> None:
        self._kinds: dict[RowKind, Columns] = {}
        self._shown: RowKind = ()  # the kind of row with the most numbers
        self._heading = ""
        for row in rows:
            self.add(row)

    def add(self, row: str) -> bool:
        """Take a printed row; return whether it continues the columns that are shown."""
        found = fields_of(row)
        if found is None:
            self._heading = row if row.strip() else self._heading
            return False
        kind, numbers = found
        columns = self._kinds.get(kind)
        if columns is None:
            if len(self._kinds) == _MOST_KINDS:
                return False
            columns = self._kinds[kind] = Columns(_names(kind, self._heading))
        columns.add([float(number) for number in numbers])
        most = self._kinds.get(self._shown)
        if most is None or columns.count > most.count:
            self._shown = kind
        return columns.rows > 1 and kind == self._shown

    @property
    def shown(self) -> Columns | None:
        """Return the columns of the kind of row with the most numbers, None if there is none."""
        columns = self._kinds.get(self._shown)
        if columns is None or columns.rows > 1 or len(columns.lows) == 1 or any(self._shown):
            return columns
        one = Columns(("printed",))
        for number in columns.lows:
            one.add(number)
        return one

    def as_csv(self, rows: Iterable[str]) -> str:
        """Return the numbers of these rows as they were printed, as CSV (RFC 4180)."""
        shown = self.shown
        if shown is None:
            return ""
        found, wide = [list(shown.names)], len(shown.names)
        for kind, numbers in filter(None, map(fields_of, rows)):
            if kind == self._shown:
                found += [numbers[at : at + wide] for at in range(0, len(numbers), wide)]
        return csv_text(found)


def csv_text(rows: Iterable[Iterable[object]]) -> str:
    """Return rows as CSV (RFC 4180)."""
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue()


def _names(kind: RowKind, heading: str) -> tuple[str, ...]:
    count = len(kind) - 1
    words = [part for part in _PARTS.split(heading) if part]
    if len(words) != count:
        words = [part.strip() for part in _COLUMNS.split(heading) if part.strip()]
    if any(kind[:-1]) or len(words) != count or not all(map(_LETTER.search, words)):
        words = [""] * count
    return tuple(
        said or head or ("printed" if count == 1 else f"column {at}")
        for at, (said, head) in enumerate(zip(kind, words, strict=False), 1)
    )
