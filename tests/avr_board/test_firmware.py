"""The whole firmware job on a simulated ATmega328P: real instructions, real bootloader code.

boot.c is a small bootloader of the tests' own; with HOSTLINK_BOOTLOADER_HEX=FILE the same tests run
over a bootloader that nobody here wrote too. The chip's flash is compared byte by byte.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.dialogue.loading import Loader
from hostlink.errors import Interrupted
from hostlink.firmware.chip import ATMEGA328P, Chip
from hostlink.firmware.image import Image
from hostlink.firmware.knowledge import read_image
from hostlink.firmware.plan import blank_padded
from hostlink.jobs.firmware.request import WriteRequest
from hostlink.jobs.firmware.writing import write_firmware
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.listing import Listing

# The same ways as elsewhere, over a chip that takes its time.
pytestmark = pytest.mark.no_cover

# The first 6 KiB of the real chip: enough for many pages, and a fifth of the time.
PART = Chip(ATMEGA328P.part, ATMEGA328P.signature, flash_bytes=6144, boot_sizes=(512,))
END = PART.application_end(512)
LISTING = "10 REM KEPT OVER NEW FIRMWARE\n20 REM AND PUT BACK\n"


class Chipboard:
    """A chip with a firmware and a bootloader, and sessions over its port."""

    def __init__(self, board: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
        self.board = board
        self.archive = archive
        self.cancelled = False
        self.on_event: Callable[[Any], None] = lambda event: None  # noqa: ARG005
        monkeypatch.setattr("hostlink.jobs.session.opening.open_port", self._open)

    def _open(self, name: str, baud: int) -> tuple[Any, Any]:  # noqa: ARG002
        return self.board.open(baud), self.board.clock

    def session(self) -> Session:
        self.cancelled = False
        return open_session(
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


def image_of(workshop: Any, line_ms: int) -> Image:
    """firmware.c as an image; each line_ms gives another one."""
    raw = workshop.firmware(BAUD=57600, LINE_MS=line_ms, RX_RING=64).read_bytes()
    assert len(raw) < END
    return Image.from_flash(f"line-{line_ms}.hex", raw)


@pytest.fixture
def chip(
    workshop: Any,
    start_board: Callable[..., Any],
    avr_board: Callable[..., Any],
    bootloader: tuple[Path, int],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Chipboard]:
    """A chip with the first firmware and a bootloader above it."""
    profile = avr_board().profile
    talk = dataclasses.replace(profile.talk, restart_ms=2000)
    profile = dataclasses.replace(profile, talk=talk)
    first = workshop.firmware(BAUD=57600, LINE_MS=15, RX_RING=64)
    boot, start = bootloader
    board = start_board([(start, boot), (0, first)], profile, start)
    board.await_prompt()
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        yield Chipboard(board, archive, monkeypatch)


def test_what_the_compiled_firmware_tells_without_being_run(workshop: Any) -> None:
    """Its greeting and its divisor as the compiler left them: 57600 baud at 16 MHz."""
    known = read_image(image_of(workshop, 15).flash)
    assert any("evening class board" in each.text for each in known.texts)
    assert 57600 in known.bauds


def test_the_whole_job_on_a_simulated_chip(chip: Chipboard, workshop: Any) -> None:
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


@pytest.mark.slow
def test_cut_off_it_is_mute_and_finishes(chip: Chipboard, workshop: Any) -> None:
    """Stopped in the middle: the chip is mute though half an image is there; then it is done.

    What holds it is the first instruction, which jumps to itself: RJMP with k = -1 (AVR instruction
    set manual, from memory), the rest of the page blank. The chip really stands there.
    """
    new = image_of(workshop, 17)

    def watch(event: Any) -> None:
        if type(event).__name__ == "PageProven" and event.done >= 3:
            chip.cancelled = True

    chip.on_event = watch
    with pytest.raises(Interrupted):
        chip.write(new)
    chip.on_event = lambda event: None  # noqa: ARG005
    assert chip.flash()[:128] == b"\xff\xcf".ljust(128, b"\xff")
    sent = chip.board.counts().sent
    chip.board.restart()
    chip.board.pass_time(4.0)  # longer than any bootloader waits
    assert chip.board.counts().sent - sent < 8, "something runs"
    assert chip.board.counts().pc == 0
    written = chip.write(new)
    assert (written.resumed, written.answered) == (True, True)
    assert chip.flash()[:END] == blank_padded(new.flash, END)
