"""A listing as lines. Text in, frozen lines out; nothing is thrown away or reordered.

Only CR, LF and CR LF end a line: NUL, form feed, vertical tab and the Unicode separators are
characters like any other, so that a review can name them. No text raises an error here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

_NUMBERED = re.compile(r"[ \t]*([0-9]+)(.*)", re.DOTALL)
_LINE_END = re.compile(r"\r\n|\n|\r")

LARGEST_NUMBER = 10**18
"""A line number of more digits than this is read as this: too large for any board, and still a
number that can be printed, sorted and kept in a database."""


def line_number(digits: str) -> int:
    """The value of decimal digits, at most LARGEST_NUMBER; leading zeros have no effect."""
    value = digits.lstrip("0")
    return int(value or "0") if len(value) <= 18 else LARGEST_NUMBER


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a listing.

    typed: the whole line as written, without its line end. number: its line number, or None.
    body: everything after the digits of the number (blanks kept), or the whole line.
    at: the line's place in its source, counted from 1.
    """

    typed: str
    number: int | None
    body: str
    at: int

    @property
    def text(self) -> str:
        """What follows the number, without the blanks that separate them."""
        return self.body.lstrip(" ")

    @classmethod
    def from_text(cls, typed: str, at: int = 1) -> Line:
        """Read one line; any text is accepted."""
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
        """Split text at CR, LF or CR LF; lines that hold only blanks are left out."""
        rows = _LINE_END.split(text)
        return cls(
            tuple(Line.from_text(row, at) for at, row in enumerate(rows, 1) if row.strip(" \t"))
        )

    def text(self) -> str:
        """The listing as text, each line ended by LF."""
        return "".join(line.typed + "\n" for line in self.lines)

    def numbered(self) -> dict[int, Line]:
        """Line number to line; of lines with the same number the last stays, as on a board.

        A bare number deletes, as on a board. Sorted by number.
        """
        held: dict[int, Line] = {}
        for line in self.lines:
            if line.number is not None:
                held.pop(line.number, None)
                if line.text:
                    held[line.number] = line
        return dict(sorted(held.items()))

    def __iter__(self) -> Iterator[Line]:
        return iter(self.lines)

    def __len__(self) -> int:
        return len(self.lines)
