"""The board's program memory: numbered lines in a fixed number of bytes.

On the practice board a line takes 2 bytes for its number, its text, and 1 byte for its end. That is
how the Tiny BASICs of 1976 kept programs (Dr. Dobb's Journal vol. 1, May 1976: number, text, end of
line). Other kinds keep lines as their `KindStorage` says.
"""

from __future__ import annotations

from collections.abc import Mapping

from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.kind import KindLanguage, KindStorage
from hostlink.practice.storing import Storing, storing

_OWN = storing(KindStorage(), KindLanguage())


class ProgramMemory:
    """Numbered lines, always in order.

    size: bytes for a program. rules: how lines are kept. lines: number to text. numbers: all line
    numbers, ascending.
    """

    def __init__(self, size: int, rules: Storing = _OWN) -> None:
        self.size = size
        self.rules = rules
        self.lines: dict[int, bytes] = {}
        self.used = 0
        self.numbers: list[int] = []
        self._places: dict[int, int] = {}

    @property
    def free(self) -> int:
        """Return the number of free bytes."""
        return self.size - self.used

    def put(self, number: int, text: bytes) -> None:
        """Store a line, replacing one with the same number; an empty text deletes it.

        Raises Complaint if the line does not fit; then the old line stays.
        """
        line_bytes = self.rules.line_bytes
        old = self.lines.get(number)
        kept = self.used - (line_bytes(old) if old is not None else 0)
        if not text:
            self.lines.pop(number, None)
            self._changed(kept)
            return
        used = kept + line_bytes(text)
        if used > self.size:
            raise Complaint(Reason.FULL, number=number, missing=used - self.size)
        self.lines[number] = text
        if old is None and len(self.lines) > 1:
            self.lines = dict(sorted(self.lines.items()))
        self._changed(used)

    def replace(self, lines: Mapping[int, bytes]) -> None:
        """Replace the program. Raises Complaint, and keeps the old one, if it does not fit."""
        used = self.rules.program_bytes(lines)
        if used > self.size:
            raise Complaint(Reason.PROGRAM_FULL, missing=used - self.size)
        self.lines = dict(sorted(lines.items()))
        self._changed(used)

    def place(self, number: int) -> int:
        """Return the index of a line in `numbers`. Raises Complaint if there is none."""
        try:
            return self._places[number]
        except KeyError:
            raise Complaint(Reason.NO_LINE, number=number) from None

    def _changed(self, used: int) -> None:
        self.used = used
        self.numbers = list(self.lines)
        self._places = {number: place for place, number in enumerate(self.numbers)}
