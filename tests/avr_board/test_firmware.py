"""The whole firmware job on a simulated ATmega328P: real instructions, real bootloader code.

boot.c is a small bootloader of the tests' own; with HOSTLINK_BOOTLOADER_HEX=FILE the same tests run
with a bootloader that nobody here wrote. The chip's flash is compared byte by byte.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.loading import Loader
from hostlink.errors import Interrupted
from hostlink.firmware.chip import ATMEGA328P, Chip
from hostlink.firmware.image import Image
from hostlink.firmware.plan import blank_padded, guard_page
from hostlink.jobs.firmware import WriteRequest, write_firmware
from hostlink.jobs.session import LinkChoice, Session
from hostlink.link.clock import RealClock
from hostlink.listing import Listing

# The chip is simulated at its own speed: tracing here only makes the host late.
pytestmark = pytest.mark.no_cover

# The first 6 KiB of the real chip: reading and writing in real time takes seconds, not a minute.
PART = Chip(ATMEGA328P.part, ATMEGA328P.signature, flash_bytes=6144, boot_sizes=(512,))
END = PART.application_end(512)
BOOT_AT = 0x7800
LISTING = "10 REM KEPT OVER NEW FIRMWARE\n20 REM AND PUT BACK\n"


class Chipboard:
    """A chip with a firmware and a bootloader, and sessions over its port."""

    def __init__(self, board: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
        self.board = board
        self.archive = archive
        self.cancelled = False
        self.on_event: Callable[[Any], None] = lambda event: None  # noqa: ARG005
        self._ports: list[Any] = []
        monkeypatch.setattr("hostlink.jobs.session.open_port", self._open)

    def _open(self, name: str, baud: int) -> tuple[Any, RealClock]:  # noqa: ARG002
        context = self.board.opened(baud)
        port = context.__enter__()
        self._ports.append(context)
        return port, RealClock()

    def session(self) -> Session:
        self.cancelled = False
        return Session(
            LinkChoice(self.board.port, self.board.profile),
            lambda event: self.on_event(event),
            lambda: self.cancelled,
            archive=self.archive,
        )

    def write(self, image: Image) -> Any:
        with self.session() as session:
            return write_firmware(session, self.archive, WriteRequest(image, PART, 512, "computer"))

    def flash(self) -> bytes:
        return bytes(self.board.flash())


def bytes_of(hex_file: Path, folder: Path) -> tuple[Path, int]:
    """An Intel HEX file as a raw image, and where it begins."""
    from intelhex import IntelHex

    held = IntelHex(str(hex_file))
    image = folder / "named.bin"
    image.write_bytes(held.tobinstr())
    return image, int(held.minaddr())


def image_of(workshop: Any, line_ms: int) -> Image:
    """firmware.c as an image; each line_ms gives another one."""
    raw = workshop.firmware(BAUD=57600, LINE_MS=line_ms, RX_RING=64).read_bytes()
    assert len(raw) < END
    return Image.from_flash(f"line-{line_ms}.hex", raw)


@pytest.fixture
def own_bootloader(workshop: Any) -> tuple[Path, int]:
    """boot.c as a raw image, and where it stands."""
    at = ["-nostartfiles", f"-Wl,--section-start=.text={BOOT_AT:#x}"]
    return workshop._chip_program("boot", at, {"BAUD": 115200}), BOOT_AT


@pytest.fixture
def make_chip(
    workshop: Any,
    start_board: Callable[..., Any],
    avr_board: Callable[..., Any],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Callable[[Path, int], Chipboard]]:
    """Makes a chip with the first firmware and a bootloader above it."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:

        def make(boot: Path, start: int) -> Chipboard:
            profile = avr_board().profile
            talk = dataclasses.replace(profile.talk, restart_ms=2000)
            profile = dataclasses.replace(profile, talk=talk)
            first = workshop.firmware(BAUD=57600, LINE_MS=15, RX_RING=64)
            board = start_board([(start, boot), (0, first)], profile, start)
            board.await_prompt()
            return Chipboard(board, archive, monkeypatch)

        yield make


def whole_job(chip: Chipboard, workshop: Any) -> None:
    """Programs kept, firmware written and proven, programs back; flash right byte by byte."""
    before = chip.flash()
    new = image_of(workshop, 16)
    with chip.session() as session:
        session.attach()
        Loader(session.dialogue, Listing.from_text(LISTING).numbered()).load()
    written = chip.write(new)
    after = chip.flash()
    assert after[:END] == blank_padded(new.flash, END)
    assert after[END:] == before[END:]
    assert "evening class board" in written.banner
    assert (written.answered, written.restored) == (True, True)
    with chip.session() as session:
        session.attach()
        lines = session.dialogue.read_listing().lines
    assert "".join(line.typed + "\n" for line in lines.values()) == LISTING
    (write,) = chip.archive.writes()
    assert write.previous is not None
    assert blank_padded(write.previous.flash, END) == before[:END]


def cut_and_finished(chip: Chipboard, workshop: Any) -> None:
    """Stopped in the middle: the chip is mute though half an image is there; then it is done."""
    new = image_of(workshop, 17)

    def watch(event: Any) -> None:
        if type(event).__name__ == "PageProven" and event.done >= 3:
            chip.cancelled = True

    chip.on_event = watch
    with pytest.raises(Interrupted):
        chip.write(new)
    chip.on_event = lambda event: None  # noqa: ARG005
    assert chip.flash()[:128] == guard_page(128)
    sent = chip.board.counts().sent
    chip.board.restart()
    clock = RealClock()
    clock.sleep(4.0)  # longer than any bootloader waits
    assert chip.board.counts().sent - sent < 8, "something runs"
    written = chip.write(new)
    assert (written.resumed, written.answered) == (True, True)
    assert chip.flash()[:END] == blank_padded(new.flash, END)


def test_the_whole_job_with_the_tests_bootloader(
    make_chip: Callable[..., Chipboard], own_bootloader: tuple[Path, int], workshop: Any
) -> None:
    """Over boot.c, in real time, at 115200 baud."""
    whole_job(make_chip(*own_bootloader), workshop)


def test_cut_off_it_is_mute_on_a_real_chip_and_finishes(
    make_chip: Callable[..., Chipboard], own_bootloader: tuple[Path, int], workshop: Any
) -> None:
    """The guard in the first page holds on the chip's own instructions."""
    cut_and_finished(make_chip(*own_bootloader), workshop)


def test_the_whole_job_with_a_bootloader_from_elsewhere(
    make_chip: Callable[..., Chipboard], bootloader_hex: Path, workshop: Any, tmp_path: Path
) -> None:
    """Over the bootloader that HOSTLINK_BOOTLOADER_HEX names."""
    whole_job(make_chip(*bytes_of(bootloader_hex, tmp_path)), workshop)


def test_cut_off_with_a_bootloader_from_elsewhere_it_finishes(
    make_chip: Callable[..., Chipboard], bootloader_hex: Path, workshop: Any, tmp_path: Path
) -> None:
    """The same, cut off and finished."""
    cut_and_finished(make_chip(*bytes_of(bootloader_hex, tmp_path)), workshop)
