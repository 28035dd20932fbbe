"""The third witness beside the readings of a listing: the free memory that the board reports."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.listing.measure import measure
from hostlink.listing.parse import Listing
from hostlink.listing.rules import Rules


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


def expected_free(listing: Listing, rules: Rules) -> int | None:
    """Bytes that the board must report free while it holds a listing; None where that is not known:
    the memory's size is not, or what a line costs is not certain."""
    ledger = measure(listing, rules)
    if not rules.storage.exact and ledger.total != rules.storage.empty_bytes:
        return None
    return ledger.free


@dataclass(frozen=True, slots=True)
class Witness:
    """What the board's free memory says of a listing. asked: whether it could be asked at all.

    reported: bytes free by its own word, None where its answer holds no number. may_be_less:
    variables take of the free memory, so that fewer bytes than expected say nothing.
    """

    asked: bool = False
    reported: int | None = None
    expected: int = 0
    may_be_less: bool = False

    @property
    def agrees(self) -> bool:
        """Whether the board's word confirms the listing."""
        return self.asked and self.reported == self.expected

    @property
    def doubt(self) -> MemoryDoubt | None:
        """The contradiction, if there is one."""
        if self.reported is None or self.agrees or self._is_silent:
            return None
        return MemoryDoubt(self.reported, self.expected)

    @property
    def _is_silent(self) -> bool:
        """Whether what it reports says neither yes nor no."""
        return self.may_be_less and self.reported is not None and self.reported < self.expected

    @property
    def is_doubtful(self) -> bool:
        """Whether it was asked and did not confirm the listing."""
        return self.asked and not self.agrees and not self._is_silent

    def __str__(self) -> str:
        return str(self.doubt or "the board's answer on its free memory holds no number")
