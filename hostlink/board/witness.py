"""What a board's own word on its free memory says of a listing: it agrees, or it contradicts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MemoryDoubt:
    """The board's own word against its listing, in bytes free."""

    reported: int
    expected: int

    def __str__(self) -> str:
        return (
            f"the board reports {self.reported:,} bytes free, by its listing it should be "
            f"{self.expected:,}"
        )


@dataclass(frozen=True, slots=True)
class Witness:
    """What the board's free memory says of a listing. asked: whether it could be asked at all.

    reported: bytes free by its own word, None where its answer holds no number.
    """

    asked: bool = False
    reported: int | None = None
    expected: int = 0

    @property
    def agrees(self) -> bool:
        """Whether the board's word confirms the listing."""
        return self.asked and self.reported == self.expected

    @property
    def doubt(self) -> MemoryDoubt | None:
        """The contradiction, if there is one."""
        if self.reported is None or self.agrees:
            return None
        return MemoryDoubt(self.reported, self.expected)

    @property
    def is_doubtful(self) -> bool:
        """Whether it was asked and did not confirm the listing."""
        return self.asked and not self.agrees

    def __str__(self) -> str:
        return str(self.doubt or "the board's answer on its free memory holds no number")
