"""Compare a listing with the free memory that the board reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hostlink.board.dialogue.own_rows import is_count
from hostlink.board.dialogue.reading import Reading
from hostlink.board.profile.model import Profile
from hostlink.listing.measure import measure
from hostlink.listing.parse import Line, Listing
from hostlink.listing.rules import Rules
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.board.dialogue.dialogue import Dialogue

_FREE_QUESTIONS = 3  # times the free memory is asked for before it counts as a contradiction


@dataclass(frozen=True, slots=True)
class MemoryDoubt:
    """A reported free memory that contradicts the listing, both in bytes."""

    reported: int
    expected: int

    def __str__(self) -> str:
        return (
            f"the board reports {self.reported:,} bytes free instead of the {self.expected:,} that "
            "its listing leaves"
        )

    @property
    def figures(self) -> dict[str, object]:
        """Return the figures as JSON data."""
        return {"free_bytes_reported": self.reported, "free_bytes_by_listing": self.expected}


@dataclass(frozen=True, slots=True)
class CountDoubt:
    """A row at an end of the listing that may be the board's own, such as `792 BYTES USED`."""

    row: str

    def __str__(self) -> str:
        return f'"{safe(self.row[:60])}" may be a row of the board\'s own, not a program line'

    @property
    def figures(self) -> dict[str, object]:
        """Return the row as JSON data."""
        return {"may_be_no_line": self.row}


ProofDoubt = MemoryDoubt | CountDoubt
"""What may contradict a listing."""


def count_in(reading: Reading, profile: Profile) -> CountDoubt | None:
    """Find a first or last line that reads as the board's own words, such as a count.

    None on a board whose own rows around a listing are measured, or named in its profile.
    """
    if not profile.is_unmeasured:
        return None
    ends = (*reading.order[-1:], *reading.order[:1])
    rows = [reading.lines[end].typed for end in ends if isinstance(end, int)]
    own = next((row for row in rows if is_count(row, profile.rules.language)), None)
    return None if own is None else CountDoubt(own)


def expected_free(listing: Listing, rules: Rules) -> int | None:
    """Return the bytes free that a board must report with a listing, or None if that is unknown.

    It is unknown without the size of the memory, or if the cost of a line is uncertain.
    """
    storage, total = rules.storage, measure(listing, rules).total
    if not storage.program_bytes or not (storage.exact or total == storage.empty_bytes):
        return None
    return max(0, storage.program_bytes - total)


@dataclass(frozen=True, slots=True)
class Witness:
    """The comparison of the board's free memory with a listing.

    asked: whether the board could be asked. reported: the board's figure in bytes, None if its
    answer holds none. may_be_less: variables use free memory, so that a lower figure proves
    nothing.
    """

    asked: bool = False
    reported: int | None = None
    expected: int = 0
    may_be_less: bool = False

    @property
    def agrees(self) -> bool:
        """Return whether the reported free memory confirms the listing."""
        return self.asked and self.reported == self.expected

    @property
    def doubt(self) -> MemoryDoubt | None:
        """Return the contradiction, or None."""
        if self.reported is None or self.agrees or self._is_silent:
            return None
        return MemoryDoubt(self.reported, self.expected)

    @property
    def _is_silent(self) -> bool:
        """Return whether the reported memory is less only because variables may use it."""
        return self.may_be_less and self.reported is not None and self.reported < self.expected

    @property
    def is_doubtful(self) -> bool:
        """Return whether the board's answer contradicts the listing or holds no number."""
        return self.asked and not self.agrees and not self._is_silent

    def __str__(self) -> str:
        return str(self.doubt or "the board's answer about its free memory holds no number")


def ask_witness(dialogue: Dialogue, lines: Mapping[int, Line]) -> Witness:
    """Ask the board for its free memory and compare it with a listing, by line number."""
    profile = dialogue.profile
    expected = expected_free(Listing(tuple(lines.values())), profile.rules)
    if not profile.commands.free_memory or expected is None:
        return Witness()
    reported: int | None = None
    for _ in range(_FREE_QUESTIONS):
        answer = dialogue.free_memory()
        reported = answer if answer is not None else reported
        if answer == expected:
            break
    may_be_less = profile.rules.storage.variables
    return Witness(True, reported, expected, may_be_less)
