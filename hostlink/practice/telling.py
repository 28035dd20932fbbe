"""What the board says of the memory it has: the truth, or what its faults make of it.

A board that lies is told from one whose wire is damaged by this: it says the same each time, and in
sound words. So captures that agree prove nothing about it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from hostlink.practice.faults import Faults

REFUSAL = b"WHAT?"
"""What a board says that takes LIST for no command of its own."""

_ESCAPES = "\x1b[2J\x07"  # ECMA-48: erase the whole page; then the bell


class Teller:
    """Answers LIST and the question for the free memory. lists: how often LIST was answered."""

    def __init__(self, faults: Faults | None = None) -> None:
        self._faults = faults or Faults()
        self.lists = 0

    def rows(
        self, lines: Mapping[int, bytes], listed: Callable[[int, bytes], bytes], end: bytes
    ) -> list[bytes]:
        """Return what LIST sends of these lines, one after the other.

        listed: what it sends of one line if it tells the truth. end: what ends its other rows.
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

    def free(self, true: int) -> int:
        """Return how many bytes the board calls free, of those that are."""
        return max(0, true - self._faults.free_bytes_off)

    @property
    def flourish(self) -> str:
        """What ends the board's own words of error."""
        return _ESCAPES if self._faults.escapes else ""
