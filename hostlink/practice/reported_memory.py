"""Report the content of the memory, truly or as the faults demand.

A board that lies differs from a damaged wire: it says the same each time, in undamaged rows.
Captures that agree prove nothing about it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from hostlink.practice.faults import Faults

REFUSAL = b"WHAT?"
"""The answer of a board that does not know LIST."""

_ESCAPES = "\x1b[2J\x07"  # ECMA-48: erase the whole page; then the bell


class ListingAnswers:
    """Answers LIST and the question for the free memory. lists: number of LISTs answered."""

    def __init__(self, faults: Faults | None = None) -> None:
        self._faults = faults or Faults()
        self.lists = 0
        self._stores = 0

    def rows(
        self, lines: Mapping[int, bytes], listed: Callable[[int, bytes], bytes], end: bytes
    ) -> list[bytes]:
        """Return what LIST sends for these lines, one after the other.

        listed: what it truly sends for one line. end: the end of its other rows.
        """
        faults = self._faults
        self.lists += 1
        if self.lists <= faults.refused_lists:
            return [REFUSAL + self.flourish.encode() + end]
        if self.lists <= faults.empty_lists:
            return []
        rows = [listed(number, text) for number, text in lines.items()]
        if self.lists % max(1, faults.lies_every):
            return rows
        if 0 < faults.repeated_line <= len(rows):
            rows.insert(faults.repeated_line, rows[faults.repeated_line - 1])
        if 0 < faults.skipped_line <= len(rows):
            del rows[faults.skipped_line - 1]
        return rows

    def forgets(self) -> bool:
        """Return whether the next line to be stored is lost without a word."""
        self._stores += 1
        every = self._faults.forgets_every
        return every > 0 and self._stores % every == 0

    def free(self, true: int) -> int:
        """Return the reported free bytes. true: the real number."""
        return max(0, true - self._faults.free_bytes_off)

    @property
    def flourish(self) -> str:
        """Return what is added to error messages."""
        return _ESCAPES if self._faults.escapes else ""
