"""What was seen of a board, from its USB bridge up to the program in its memory."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from hostlink.errors import HostlinkError, LinkError, NoListingError
from hostlink.firmware.chip import BLANK, CHIPS, part_of
from hostlink.sentences import UNNAMED_PROGRAM
from hostlink.words import plural


class Restart(Enum):
    """Whether the board was restarted, so that its bootloader answers."""

    NOT_TRIED = "not tried"
    DONE = "done"
    DECLINED = "the user did not agree"
    IMPOSSIBLE = "the port has no restart line"


@dataclass(frozen=True, slots=True)
class SeenBootloader:
    """A bootloader that answered.

    baud: its speed. signature: of the chip, three bytes. flash: what the chip's flash holds from
    its start on, None if it was not read. image: the archive's name of the firmware there, "" if it
    does not know it. role: what that firmware was written for, "" if unknown. has_basic: it holds a
    table of BASIC words. cut_off: the name of the image of which flash holds a part, since writing
    it to this board was cut off, else "".
    """

    baud: int
    signature: bytes
    flash: bytes | None = None
    image: str = ""
    role: str = ""
    has_basic: bool = False
    cut_off: str = ""

    @property
    def part_number(self) -> str:
        """Return the part number of the chip."""
        return part_of(self.signature)

    @property
    def can_be_written(self) -> bool:
        """Return whether hostlink can write firmware to the chip."""
        return any(chip.signature == self.signature for chip in CHIPS)

    @property
    def is_blank(self) -> bool:
        """Return whether there is no firmware besides the bootloader."""
        return self.flash is not None and self.flash[:2] == bytes((BLANK, BLANK))


@dataclass(frozen=True, slots=True)
class SeenBasic:
    """A BASIC at its prompt.

    manner: how it talks, as a sentence. kind: its profile, "" for a board of no known kind.
    """

    manner: str
    kind: str
    baud: int


@dataclass(frozen=True, slots=True)
class Contents:
    """What a board holds.

    spec: the program in memory as the archive knows it, with "changed since" if `changed`; "" for
    one without a name. lines: in memory. size, limit, free: bytes, 0 or None if unknown. stored:
    names of the programs in EEPROM, None if the board cannot list them.
    """

    spec: str
    changed: bool
    lines: int
    size: int
    limit: int
    free: int | None
    stored: tuple[str, ...] | None

    @property
    def words(self) -> str:
        """Return what it holds, in words."""
        what = self.spec or (UNNAMED_PROGRAM if self.lines else "no program")
        if self.changed:
            what += ", changed since"
        if self.lines:
            what += f", {plural(self.lines, 'line')}"
        if self.limit and self.size:
            what += f", {self.size:,} of {plural(self.limit, 'byte')}"
        elif self.free is not None:
            what += f", {plural(self.free, 'byte')} free"
        return what


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen so far.

    port: the one that is met, "" if none was found or several were. ports: all with a bridge.
    exists: the port is there. bridge: the chip with its USB numbers, "" for a port without one.
    driver: of the bridge on this system. hidden: a sentence for each bridge without a port. system:
    as sys.platform. access: how to get access, "" if there is access. holder: the program that has
    the port open, "" for none. label, role: of the board, as known before. opening: why the port
    could not be opened. trouble: why the board did not come to its prompt. unread: why its contents
    could not be read.
    """

    port: str = ""
    ports: tuple[str, ...] = ()
    exists: bool = True
    bridge: str = ""
    driver: str = ""
    hidden: tuple[str, ...] = ()
    system: str = ""
    access: str = ""
    holder: str = ""
    label: str = ""
    role: str = ""
    opening: LinkError | None = None
    kept_closed: bool = False
    trouble: LinkError | None = None
    restart: Restart = Restart.NOT_TRIED
    bootloader: SeenBootloader | None = None
    basic: SeenBasic | None = None
    contents: Contents | None = None
    unread: HostlinkError | None = None

    @property
    def may_be_no_basic(self) -> bool:
        """Return whether a board of no known kind answered LIST with something else."""
        kind = self.basic.kind if self.basic is not None else ""
        return not kind and isinstance(self.unread, NoListingError)

    @property
    def is_display(self) -> bool:
        """Return whether the board is known as a display, by its firmware or by its role."""
        boot = self.bootloader
        if boot is not None and boot.cut_off:
            return False
        if boot is not None and (boot.role or boot.has_basic):
            return boot.role == "display"
        return self.role == "display" and not (boot is not None and boot.is_blank)
