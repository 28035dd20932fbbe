"""The request for a firmware write, and its result."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.advice import Advice
from hostlink.archive import Role
from hostlink.errors import HostlinkError
from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Image


@dataclass(frozen=True, slots=True)
class FirstSteps:
    """What follows the first firmware of a board. is_new: the board had no firmware before.

    label: for the board. load: the name of a listing to load. Both are "" if not given.
    """

    is_new: bool = False
    label: str = ""
    load: str = ""

    @property
    def wanted(self) -> bool:
        """Return whether anything is to be done or asked."""
        return bool(self.is_new or self.label or self.load)


@dataclass(frozen=True, slots=True)
class WriteRequest:
    """What to write. boot_bytes: size of the bootloader section at the top of flash.

    role: what the image is for, "" to use the archive's record. this_board: which board the user
    says that it is, "" if unsaid. discard_board: go on if the programs there cannot be kept.
    new_board: the user says that a silent board is new, so that its memory needs no keeping.
    boot_is_known: boot_bytes was given by the user, and is not only the usual value. goes_back: the
    image is what this board's flash held before (see record.previous_image). first: the first
    steps that follow, recorded so that a write that finishes this one takes them too.
    """

    image: Image
    chip: Chip
    boot_bytes: int
    role: Role | str = ""
    this_board: Role | str = ""
    discard_board: bool = False
    new_board: bool = False
    boot_is_known: bool = False
    goes_back: bool = False
    first: FirstSteps = FirstSteps()

    @property
    def end(self) -> int:
        """Return the address of the first byte of the bootloader."""
        return self.chip.application_end(self.boot_bytes)


@dataclass(frozen=True, slots=True)
class Written:
    """A write whose pages were all read back. right: pages that held the right bytes before.

    banner: received afterwards. answered: the board came to its prompt. backup: keeps its programs,
    "" if it had none. restored: they are on the board again. resumed: an interrupted write was
    finished. first: as requested, by this write or by the one that it finishes.
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
    first: FirstSteps = FirstSteps()


class AfterWriteError(HostlinkError):
    """The image is on the board and proven, but the board does not answer or lacks its programs.

    written: how the write itself ended.
    """

    def __init__(self, what: str, written: Written, *, kept: str, advice: Advice) -> None:
        super().__init__(what, kept=kept, advice=advice)
        self.written = written
