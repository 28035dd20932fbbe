"""What is asked of a write of firmware, and how one ended."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.advice import Advice
from hostlink.archive import Role
from hostlink.errors import HostlinkError
from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Image


@dataclass(frozen=True, slots=True)
class WriteRequest:
    """What to write. boot_bytes: size of the bootloader's section at the top of flash.

    role: what the image is for, "" where the archive knows. this_board: the user's word on which
    board it is, "" without one. discard_board: go on where what is there cannot be kept.
    boot_is_known: boot_bytes is the user's word, not only what is usual. goes_back: the image is
    what this board's flash held before (firmware_record.way_back).
    """

    image: Image
    chip: Chip
    boot_bytes: int
    role: Role | str = ""
    this_board: Role | str = ""
    discard_board: bool = False
    boot_is_known: bool = False
    goes_back: bool = False

    @property
    def end(self) -> int:
        """The first byte of flash that belongs to the bootloader."""
        return self.chip.application_end(self.boot_bytes)


@dataclass(frozen=True, slots=True)
class Written:
    """A write whose every page was read back. right: pages that held the right bytes before.

    banner: what the board said afterwards. answered: it came to its prompt. backup: what its BASIC
    held, "" if nothing. restored: that is on the board again. resumed: a write that had been cut
    off was finished.
    """

    image: Image
    role: str
    written: int
    right: int
    banner: str
    answered: bool
    backup: str
    restored: bool
    resumed: bool


class AfterWriteError(HostlinkError):
    """An image is on the board, proven, but the board does not answer or lacks its programs.

    written: how the write itself ended.
    """

    def __init__(self, what: str, written: Written, *, kept: str, advice: Advice) -> None:
        super().__init__(what, kept=kept, advice=advice)
        self.written = written
