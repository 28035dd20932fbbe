"""The board's program memory: numbered lines, kept as typed, in a fixed number of bytes.

A line takes 2 bytes for its number, its text, and 1 byte for its end. That is how the Tiny BASICs
of 1976 kept programs (Dr. Dobb's Journal vol. 1, May 1976: number, text, end of line).
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from hostlink.practice.complaint import Complaint

FIRST_LINE, LAST_LINE = 1, 32767
NUMBER_BYTES, END_BYTES = 2, 1

_OUTSIDE_QUOTES = re.compile(rb'("[^"]*"?|rem.*)|[^"]', re.IGNORECASE | re.DOTALL)


def line_bytes(text: bytes) -> int:
    """Bytes that one stored line takes."""
    return NUMBER_BYTES + len(text) + END_BYTES


def program_bytes(lines: Mapping[int, bytes]) -> int:
    """Bytes that a whole program takes."""
    return sum(map(line_bytes, lines.values()))


def folded(text: bytes) -> bytes:
    """Letters to capitals, except inside quotes and remarks."""
    return _OUTSIDE_QUOTES.sub(lambda found: found[1] or found[0].upper(), text)


class ProgramMemory:
    """Numbered lines, always in order.

    size: bytes for a program. lines: number to text. numbers: all line numbers, ascending.
    """

    def __init__(self, size: int) -> None:
        self.size = size
        self.lines: dict[int, bytes] = {}
        self.used = 0
        self.numbers: list[int] = []
        self._places: dict[int, int] = {}

    @property
    def free(self) -> int:
        """Bytes left."""
        return self.size - self.used

    def put(self, number: int, text: bytes) -> None:
        """Store a line in place of any of that number; an empty text deletes.

        Raises Complaint where the line does not fit; then the old line stays.
        """
        old = self.lines.get(number)
        kept = self.used - (line_bytes(old) if old is not None else 0)
        if not text:
            self.lines.pop(number, None)
            self._changed(kept)
            return
        used = kept + line_bytes(text)
        if used > self.size:
            raise Complaint(f"memory full, line {number} needs {used - self.size} more")
        self.lines[number] = text
        if old is None and len(self.lines) > 1:
            self.lines = dict(sorted(self.lines.items()))
        self._changed(used)

    def replace(self, lines: Mapping[int, bytes]) -> None:
        """Take a whole program in. Raises Complaint, and keeps the old one, if it is too big."""
        used = program_bytes(lines)
        if used > self.size:
            raise Complaint(f"memory full, program needs {used - self.size} more")
        self.lines = dict(sorted(lines.items()))
        self._changed(used)

    def place(self, number: int) -> int:
        """Where a line stands among `numbers`. Raises Complaint if there is no such line."""
        try:
            return self._places[number]
        except KeyError:
            raise Complaint(f"no such line {number}") from None

    def _changed(self, used: int) -> None:
        self.used = used
        self.numbers = list(self.lines)
        self._places = {number: place for place, number in enumerate(self.numbers)}
