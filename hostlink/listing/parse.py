"""Parse text into the lines of a listing, without reordering or discarding any.

Only CR, LF and CR LF end a line. NUL, form feed, vertical tab and the Unicode separators are kept
as characters, so that a review can report them. Any text is accepted.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from hostlink.words import split_rows

_NUMBERED = re.compile(r"[ \t]*([0-9]+)(.*)", re.DOTALL)

LARGEST_NUMBER = 10**18
"""The value for every line number of more than 18 digits: too large for any board, but small enough
to print, sort and keep in a database."""


def line_number(digits: str) -> int:
    """Return the value of decimal digits, at most LARGEST_NUMBER; ignore leading zeros."""
    value = digits.lstrip("0")
    return int(value or "0") if len(value) <= 18 else LARGEST_NUMBER


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a listing.

    typed: the whole line as written, without its line end. number: its line number, or None.
    body: everything after the digits of the number, blanks included, or the whole line.
    at: the row in the source, from 1.
    """

    typed: str
    number: int | None
    body: str
    at: int

    @property
    def text(self) -> str:
        """Return the text after the number, without the blanks between them."""
        return self.body.lstrip(" ")

    @classmethod
    def from_text(cls, typed: str, at: int = 1) -> Line:
        """Parse one line; any text is accepted. at: its row in the source, from 1."""
        match = _NUMBERED.fullmatch(typed)
        if match is None:
            return cls(typed, None, typed, at)
        return cls(typed, line_number(match[1]), match[2], at)


@dataclass(frozen=True, slots=True)
class Listing:
    """A listing: its lines in the order of the source, blank lines left out."""

    lines: tuple[Line, ...]

    @classmethod
    def from_text(cls, text: str) -> Listing:
        """Parse text, split at CR, LF or CR LF, and omit blank lines."""
        rows = split_rows(text)
        return cls(
            tuple(Line.from_text(row, at) for at, row in enumerate(rows, 1) if row.strip(" \t"))
        )

    @classmethod
    def of(cls, lines: Iterable[Line]) -> Listing:
        """Make a listing of lines, with their rows counted from 1."""
        return cls(tuple(replace(line, at=at) for at, line in enumerate(lines, 1)))

    def text(self) -> str:
        """Return the listing as text, each line ended by LF."""
        return "".join(line.typed + "\n" for line in self.lines)

    def numbered(self) -> dict[int, Line]:
        """Return the lines that a board would hold, by number and in ascending order.

        As on a board, a later line replaces an earlier one of the same number, and a bare number
        deletes that line.
        """
        held: dict[int, Line] = {}
        for line in self.lines:
            if line.number is not None:
                held.pop(line.number, None)
                if line.text:
                    held[line.number] = line
        return dict(sorted(held.items()))

    @property
    def loose(self) -> list[str]:
        """Return the rows without a number, which a board would run at once and not store."""
        return [each.typed for each in self.lines if each.number is None and each.typed.strip()]

    def __iter__(self) -> Iterator[Line]:
        return iter(self.lines)

    def __len__(self) -> int:
        return len(self.lines)
