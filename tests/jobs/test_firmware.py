"""Writing firmware as one guarded task, over the practice board's strict bootloader.

Most tests use a chip of 16 pages with the ATmega328P's signature, so that a write at every page
takes moments; the practice board's own flash is the full 32 KiB.
"""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.cli.ways import in_commands
from hostlink.errors import (
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    Needed,
    ReadBackError,
    RefusedError,
)
from hostlink.firmware.chip import ATMEGA328P, Chip
from hostlink.firmware.image import Image
from hostlink.firmware.plan import blank_padded
from hostlink.jobs.firmware.asking import Question, write_asking
from hostlink.jobs.firmware.first_program import first_program
from hostlink.jobs.firmware.record import image_before
from hostlink.jobs.firmware.request import WriteRequest
from hostlink.jobs.firmware.writing import write_firmware
from hostlink.listing import review

VECTORS = b"\x0c\x94\x40\x00" * 26
SMALL = Chip("ATmega328P", b"\x1e\x95\x0f", flash_bytes=2048, boot_sizes=(512,))
END = 1536  # of its application
PAGES = END // 128
MEMORY = "5 REM TIDE TABLE\n10 PRINT 1\n"
BANNER = "practice board, 999 bytes for a program"


def image(seed: int = 3, size: int = END, name: str = "new.hex") -> Image:
    flash = VECTORS + random.Random(seed).randbytes(size - len(VECTORS) - 1) + b"\x01"
    return Image(name, flash, ((0, len(flash)),))


def wanted(**changes: Any) -> WriteRequest:
    return dataclasses.replace(WriteRequest(image(), SMALL, 512, "computer"), **changes)


@pytest.fixture
def board(table: Callable[..., Any]) -> Any:
    """A board with a program in memory and one stored."""
    made = table()
    made.load('10 PRINT "ONE"\n', "ONE")
    made.load(MEMORY)
    return made


def holds(board: Any, request: WriteRequest) -> bool:
    end = request.end
    return bytes(board.machine.chip.flash[:end]) == blank_padded(request.image.flash, end)


# --- the whole of it -----------------------------------------------------------------------------


def test_a_write_ends_with_the_image_proven_and_the_programs_back(
    board: Any, archive: Archive
) -> None:
    """Flash holds the image, memory and slots hold the programs, the record says which and when."""
    old = bytes(board.machine.chip.flash)
    memory, stored = board.memory, board.stored
    with board.session() as session:
        written = write_firmware(session, archive, wanted())
    assert holds(board, wanted())
    assert bytes(board.machine.chip.flash[END:]) == old[END:]
    assert (board.memory, board.stored) == (memory, stored)
    assert (written.written, written.right, written.resumed) == (PAGES, 0, False)
    assert (written.banner, written.answered, written.restored) == (BANNER, True, True)
    (write,) = archive.writes()
    assert (write.outcome, write.role, write.part) == ("done", "computer", "ATmega328P")
    assert (write.image.sha256, write.image.name) == (image().sha256, "new.hex")
    assert write.previous is not None
    assert blank_padded(write.previous.flash, END) == old[:END]
    assert (write.backup, write.banner) == ("backup@1", BANNER)
    assert archive.board_role(write.board_uuid) == "computer"
    assert [e.done for e in board.said("PageProven")] == list(range(1, PAGES + 1))
    assert {e.pages for e in board.said("PageProven")} == {PAGES}


def test_the_full_chip_is_written_and_eeprom_and_bootloader_are_kept(
    board: Any, archive: Archive
) -> None:
    """All 240 pages of the ATmega328P at 115200 baud; its EEPROM and boot section are archived."""
    request = wanted(chip=ATMEGA328P, boot_bytes=2048, image=image(size=0x7800))
    old, eeprom = bytes(board.machine.chip.flash), None
    with board.session() as session:
        written = write_firmware(session, archive, request)
    assert written.written == 240
    assert holds(board, request)
    assert bytes(board.machine.chip.flash[0x7800:]) == old[0x7800:]
    with archive.reading("test") as db:
        row = db.execute("SELECT boot_section, eeprom FROM firmware_writes").fetchone()
    eeprom = board.machine.chip.eeprom
    assert bytes(row["boot_section"]) == old[0x7800:]
    assert bytes(row["eeprom"]) == eeprom
    assert b"ONE\0" in eeprom
    assert board.machine.overruns == 0


def test_eeprom_that_reads_like_flash_is_not_kept_as_eeprom(
    table: Callable[..., Any], archive: Archive
) -> None:
    """A bootloader that gives flash for EEPROM gives nothing worth keeping."""
    board = table(bootloader_eeprom=False)
    board.load(MEMORY)
    with board.session() as session:
        write_firmware(session, archive, wanted(chip=ATMEGA328P, boot_bytes=2048))
    with archive.reading("test") as db:
        assert db.execute("SELECT eeprom FROM firmware_writes").fetchone()["eeprom"] is None


def test_everything_is_in_the_archive_before_the_first_page_is_written(
    board: Any, archive: Archive
) -> None:
    """The backup before the restart line is pulled; flash and the record before the first page."""
    seen: list[tuple[int, int, int]] = []

    def watch(data: bytes) -> None:
        if data.startswith(b"\x64") and data.endswith(b"\x20") and len(data) > 100:
            last = archive.writes()
            seen.append((len(archive.backups()), len(last), last[0].previous is not None))

    def pulled(event: Any) -> None:
        if "Restarting the board" in getattr(event, "text", ""):
            assert board.pulses == 0
            assert [each.spec for each in archive.backups()] == ["backup@1"]

    board.on_write, board.on_event = watch, pulled
    with board.session() as session:
        write_firmware(session, archive, wanted())
    assert seen[0] == (1, 1, True)
    assert len(seen) == PAGES + 1  # the guard, and each page


def test_an_image_that_is_there_already_is_not_written(board: Any, archive: Archive) -> None:
    """Every page reads back right: no page is written, no record made, the programs are back."""
    memory = board.memory
    with board.session() as session:
        write_firmware(session, archive, wanted())
    wear = dict(board.machine.chip.page_writes)
    with board.session() as session:
        written = write_firmware(session, archive, wanted(role=""))
    assert (written.written, written.right) == (0, PAGES)
    assert board.machine.chip.page_writes == wear
    assert len(archive.writes()) == 1
    assert board.memory == memory


def test_going_back_writes_what_was_there_before(board: Any, archive: Archive) -> None:
    """The image before the last write, read from the chip, goes back byte for byte."""
    old = bytes(board.machine.chip.flash[:END])
    with board.session() as session:
        write_firmware(session, archive, wanted())
        before, last = image_before(archive, session.board_in(archive))
        again = wanted(image=Image.from_flash(before.name, before.flash), role=last.role)
        write_firmware(session, archive, again)
    assert bytes(board.machine.chip.flash[:END]) == old
    newest = archive.writes()[0]
    assert newest.previous is not None
    assert newest.previous.sha256 == image().sha256


def test_there_is_nothing_to_go_back_to_at_first(board: Any, archive: Archive) -> None:
    """A board to which nothing was written from here says so."""
    with board.session() as session, pytest.raises(RefusedError) as caught:
        image_before(archive, session.board_in(archive))
    assert "no earlier firmware" in caught.value.what


# --- cut off -------------------------------------------------------------------------------------


class Killed(BaseException):
    """The process ends at once."""


def cut_at(board: Any, page: int, kind: str) -> Callable[[Any], None]:
    def watch(event: Any) -> None:
        if type(event).__name__ == "PageProven" and event.done == page:
            if kind == "kill":
                raise Killed
            board.machine.unplugged = kind == "unplug"
            board.cancelled = kind == "stop"

    return watch


@pytest.mark.one_in(8)
@pytest.mark.parametrize("kind", ["unplug", "stop", "kill"])
@pytest.mark.parametrize("page", range(1, PAGES))
def test_cut_off_at_any_page_the_same_command_finishes(
    board: Any, archive: Archive, kind: str, page: int
) -> None:
    """Unplugged, stopped or killed: mute with the bootloader unharmed; repeated, it is done."""
    old = bytes(board.machine.chip.flash)
    memory, stored = board.memory, board.stored
    board.on_event = cut_at(board, page, kind)
    with board.session() as session, pytest.raises((HostlinkError, Killed)) as caught:
        write_firmware(session, archive, wanted())
    assert board.machine.chip.is_mute
    assert bytes(board.machine.chip.flash[END:]) == old[END:]
    if kind != "kill":
        assert f"after page {page} of {PAGES}" in caught.value.what  # type: ignore[union-attr]
        assert "bootloader is unharmed" in caught.value.kept  # type: ignore[union-attr]
        assert "kept as backup@1" in caught.value.kept  # type: ignore[union-attr]
        assert "Write the same image again" in in_commands(caught.value.advice)  # type: ignore[union-attr]
    assert not archive.writes()[0].is_finished
    board.on_event = lambda event: None  # noqa: ARG005
    board.plug_in_again()
    wear = dict(board.machine.chip.page_writes)
    with board.session() as session:
        written = write_firmware(session, archive, wanted(role=""))
    assert written.resumed
    assert holds(board, wanted())
    assert written.written == PAGES - page
    again = [p for p in range(1, page + 1) if board.machine.chip.page_writes[p] > wear[p]]
    assert again == []
    assert (board.memory, board.stored) == (memory, stored)
    newest = archive.writes()[0]
    assert (newest.outcome, newest.backup) == ("done", "backup@1")
    assert newest.previous is not None
    assert blank_padded(newest.previous.flash, END) == old[:END]


@pytest.mark.one_in(4)
@pytest.mark.parametrize("page", range(1, PAGES))
def test_a_restart_at_any_page_is_noticed_and_the_write_goes_on(
    board: Any, archive: Archive, page: int
) -> None:
    """Somebody presses the restart button: the job restarts the board itself and finishes."""
    pressed: list[int] = []

    def press(event: Any) -> None:
        if type(event).__name__ == "PageProven" and event.done == page and not pressed:
            pressed.append(page)
            board.machine.restart(board.clock.now())
            board.clock.sleep(1.5)

    board.on_event = press
    with board.session() as session:
        written = write_firmware(session, archive, wanted())
    assert pressed
    assert holds(board, wanted())
    assert written.restored
    assert any("Restarting the board to go on" in each.text for each in board.said("Warned"))


def test_after_a_cut_one_can_go_back_instead(board: Any, archive: Archive) -> None:
    """What flash held before the write that was cut off is what --previous means then."""
    old = bytes(board.machine.chip.flash[:END])
    board.on_event = cut_at(board, 4, "unplug")
    with board.session() as session, pytest.raises(LinkError):
        write_firmware(session, archive, wanted())
    board.on_event = lambda event: None  # noqa: ARG005
    board.plug_in_again()
    with board.session() as session:
        before, last = image_before(archive, session.board_in(archive))
        again = wanted(image=Image.from_flash(before.name, before.flash), role=last.role)
        written = write_firmware(session, archive, again)
    assert bytes(board.machine.chip.flash[:END]) == old
    assert written.restored


def test_plugged_into_another_socket_the_same_command_still_finishes(
    board: Any, archive: Archive
) -> None:
    """Bridges without a serial number are new boards elsewhere; flash shows which one it is."""
    board.on_event = cut_at(board, 5, "unplug")
    with board.session() as session, pytest.raises(LinkError):
        write_firmware(session, archive, wanted())
    board.on_event = lambda event: None  # noqa: ARG005
    board.plug_in_again()
    board.name = "elsewhere"
    with board.session() as session:
        written = write_firmware(session, archive, wanted(role=""))
    assert written.resumed
    assert holds(board, wanted())


def test_another_silent_board_is_not_taken_for_the_one_that_was_cut_off(
    board: Any, archive: Archive, table: Callable[..., Any]
) -> None:
    """Its flash holds something else: refused, nothing written."""
    board.on_event = cut_at(board, 5, "unplug")
    with board.session() as session, pytest.raises(LinkError):
        write_firmware(session, archive, wanted())
    other = table()
    other.name = "other"
    other.machine.hold_flash(b"\xff" * 32_768)
    with other.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, wanted(role=""))
    assert "not the one whose write was cut off" in caught.value.what
    assert other.machine.chip.page_writes == {}
    for option in ("--this-board", "--discard-board"):
        assert option in in_commands(caught.value.advice)
    with other.session() as session:
        request = wanted(role="", this_board="computer", discard_board=True)
        assert write_firmware(session, archive, request).answered


def test_stopped_before_the_first_page_the_board_is_as_before(board: Any, archive: Archive) -> None:
    """While flash is read nothing is changed: the firmware starts again, the programs go back."""
    memory = board.memory

    def watch(event: Any) -> None:
        if type(event).__name__ == "PagesRead" and event.done == 3:
            board.cancelled = True

    board.on_event = watch
    with board.session() as session, pytest.raises(Interrupted) as caught:
        write_firmware(session, archive, wanted())
    assert "before anything was written" in caught.value.what
    assert "in its memory again" in caught.value.kept
    assert board.memory == memory
    assert archive.writes() == []


# --- refusals ------------------------------------------------------------------------------------


def test_another_chip_is_refused_and_the_programs_go_back(
    table: Callable[..., Any], archive: Archive
) -> None:
    """The signature decides; nothing is written, the board starts again and has its programs."""
    board = table(signature=0x1E9514)
    board.load(MEMORY)
    memory = board.memory
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, wanted())
    assert caught.value.what == "The chip on this board is ATmega328, not ATmega328P."
    assert board.machine.chip.page_writes == {}
    assert board.memory == memory


def test_without_a_bootloader_nothing_is_changed(
    table: Callable[..., Any], archive: Archive
) -> None:
    """Both speeds are tried, one restart each; the advice names the wire to lift."""
    board = table(bootloader=False)
    board.load(MEMORY)
    memory = board.memory
    with board.session() as session, pytest.raises(LinkError) as caught:
        write_firmware(session, archive, wanted())
    assert "115200 and 57600" in caught.value.what
    assert "lift the wire" in in_commands(caught.value.advice)
    assert board.memory == memory
    tried = [e.text for e in board.said("Phase") if "Restarting" in e.text]
    assert len(tried) == 2


def test_a_bootloader_at_the_slower_speed_is_found(
    table: Callable[..., Any], archive: Archive
) -> None:
    """57600 after 115200, with one restart for each."""
    board = table(bootloader_baud=57_600)
    board.load(MEMORY)
    pulses: list[int] = []
    board.on_event = lambda event: (
        pulses.append(board.pulses) if type(event).__name__ == "PagesRead" else None
    )
    with board.session() as session:
        write_firmware(session, archive, wanted())
    assert holds(board, wanted())
    assert pulses[0] == 2


def test_an_image_of_unknown_use_needs_a_role(board: Any, archive: Archive) -> None:
    """Nobody has said what it is for: asked before a byte is sent; remembered afterwards."""
    sent: list[bytes] = []
    board.on_write = sent.append
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, wanted(role=""))
    assert "--role" in in_commands(caught.value.advice)
    assert sent == []
    with board.session() as session:
        write_firmware(session, archive, wanted())
        assert write_firmware(session, archive, wanted(role="")).role == "computer"


def test_a_prompt_where_silence_is_expected_stops_it(board: Any, archive: Archive) -> None:
    """An image for the display, a board that answers like the computer: which board is it?"""
    request = wanted(role="display")
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, request)
    (answered,) = board.said("BoardAnswered")
    assert (answered.answer, answered.expected) == ("a BASIC prompt", "silence")
    assert "--this-board display" in in_commands(caught.value.advice)
    assert board.pulses == 0
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, dataclasses.replace(request, this_board="computer"))
    assert "You say that this board is the computer" in caught.value.what
    assert board.pulses == 0
    with board.session() as session:
        write_firmware(session, archive, dataclasses.replace(request, this_board="display"))
    assert holds(board, request)
    assert archive.writes()[0].backup == "backup@1"  # what answered was kept anyway


def test_a_silent_board_is_written_when_it_is_said_to_be_new(
    table: Callable[..., Any], archive: Archive
) -> None:
    """An image for the computer, a board never seen at its prompt: one question, one word."""
    board = table()
    board.machine.hold_flash(b"\xff" * 32_768)
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, wanted())
    assert "answers with silence, like a new one" in caught.value.what
    assert caught.value.needed is Needed.NEW_BOARD
    assert "say so with --new-board" in in_commands(caught.value.advice)
    assert board.pulses == 0
    request = wanted(new_board=True)
    with board.session() as session:
        written = write_firmware(session, archive, request)
    assert (written.answered, written.banner, written.first.is_new) == (True, BANNER, True)
    assert holds(board, request)
    assert archive.board_role(archive.writes()[0].board_uuid) == "computer"


def test_the_word_for_a_new_board_lifts_nothing_else(board: Any, archive: Archive) -> None:
    """A board at its prompt is no new one: its programs are kept and put back; a running program
    stops the write; for a display it says nothing."""
    memory = board.memory
    with board.session() as session:
        written = write_firmware(session, archive, wanted(new_board=True))
    assert (written.restored, written.first.is_new, board.memory) == (True, False, memory)
    board.load("10 PRINT 1\n20 GOTO 10\n")
    with board.session() as session:
        session.attach()
        session.wire.port.write(b"RUN\r")
    pulses = board.pulses
    with board.session() as session, pytest.raises(LinkError) as running:
        write_firmware(session, archive, wanted(new_board=True, image=image(seed=4)))
    assert running.value.reason is LinkReason.RUNNING
    assert board.pulses == pulses


def test_what_is_asked_is_asked_over_one_open_port(
    table: Callable[..., Any], archive: Archive
) -> None:
    """The answer goes on in the same session; the safe answer leaves the refusal as it is."""
    board = table()
    board.machine.hold_flash(b"\xff" * 32_768)
    with board.session() as session, pytest.raises(RefusedError):
        write_asking(session, archive, wanted(), lambda _: None)
    assert board.pulses == 0
    asked: list[str] = []

    def answer(question: Question) -> WriteRequest:
        asked.append(question.asks)
        return question.answers[0][2]

    with board.session() as session:
        written = write_asking(session, archive, wanted(), answer)
    assert len(asked) == 1
    assert len(board.said("BoardAnswered")) == 1  # it was looked at once
    assert written.answered


def test_a_known_board_that_is_silent_needs_two_words(board: Any, archive: Archive) -> None:
    """It was seen at its prompt, so it is not new: which board, and memory given up knowingly."""
    with board.session() as session:
        write_firmware(session, archive, wanted())
    board.load("10 GOTO 10\n")
    with board.session() as session:
        session.attach()
        session.wire.port.write(b"RUN\r")
        session.wire.clock.sleep(1.0)
        session.wire.port.reset_input_buffer()
    request = wanted(image=image(seed=4))
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, request)
    assert "answered with silence" in caught.value.what
    assert (
        "with --this-board computer, and that its program may be lost with --discard-board"
        in in_commands(caught.value.advice)
    )
    request = dataclasses.replace(request, this_board="computer")
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, request)
    assert "--discard-board" in in_commands(caught.value.advice)


def test_a_silent_display_is_written_without_more_questions(
    table: Callable[..., Any], archive: Archive
) -> None:
    """Silence is what a display answers."""
    board = table()
    board.machine.hold_flash(b"\xff\xcf" + b"\xff" * 32_766)
    request = wanted(role="display")
    with board.session() as session:
        written = write_firmware(session, archive, request)
    assert holds(board, request)
    assert (written.role, written.backup) == ("display", "")


def test_a_board_known_as_the_other_one_stops_it(board: Any, archive: Archive) -> None:
    """What the archive knows of a board counts as well as what it answers."""
    with board.session() as session:
        archive.set_board_role(session.board_in(archive).uuid, "display")
        with pytest.raises(RefusedError) as caught:
            write_firmware(session, archive, wanted())
    assert "it is known as the display" in caught.value.what


def test_a_running_program_is_the_users_to_stop(board: Any, archive: Archive) -> None:
    """A program that runs holds variables: nothing is restarted before it may be stopped."""
    board.load("10 PRINT 1\n20 GOTO 10\n")
    with board.session() as session:
        session.attach()
        session.wire.write(b"RUN\r")
    with board.session() as session, pytest.raises(LinkError) as caught:
        write_firmware(session, archive, wanted())
    assert caught.value.reason is LinkReason.RUNNING
    assert "--stop-running" in in_commands(caught.value.advice)
    assert board.pulses == 0


def test_a_stored_program_that_cannot_be_read_stops_it(board: Any, archive: Archive) -> None:
    """An incomplete backup is not good enough to restart the board on."""

    def spoil(event: Any) -> None:
        if "stored as ONE" in getattr(event, "text", ""):
            board.machine.basic.eeprom.pop("ONE", None)

    board.on_event = spoil
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, wanted())
    assert "ONE" in caught.value.what
    assert board.pulses == 0


class Flickering(bytearray):
    """Flash whose one byte reads differently each time, as through a bad contact."""

    reads = 0

    def __getitem__(self, key: Any) -> Any:
        got = super().__getitem__(key)
        if isinstance(key, slice) and key.start == 256 and key.stop == 384:
            Flickering.reads += 1
            return bytes((Flickering.reads % 251,)) + bytes(got[1:])
        return got


def test_flash_that_cannot_be_kept_stops_it(board: Any, archive: Archive) -> None:
    """Readings that never agree: stopped, unless told to discard; the record says so then."""
    memory, sound = board.memory, board.machine.chip.flash
    board.machine.chip.flash = Flickering(sound)
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, wanted())
    assert "cannot be kept: Page 2 of flash" in caught.value.what
    assert "--discard-board" in in_commands(caught.value.advice)
    assert board.memory == memory
    assert archive.writes() == []

    def mended(event: Any) -> None:
        if "as you asked: Page" in getattr(event, "text", ""):
            board.machine.chip.flash = sound

    board.on_event = mended
    with board.session() as session:
        written = write_firmware(session, archive, wanted(discard_board=True))
    assert written.written == PAGES
    assert holds(board, wanted())
    assert archive.writes()[0].previous is None
    (event,) = [each for each in archive.events() if each.job == "firmware write"][:1]
    assert event.detail["discarded"] is True


def test_a_page_that_does_not_take_is_never_called_written(board: Any, archive: Archive) -> None:
    """A worn page ends the write with its number, the board mute, the bootloader there."""

    class Worn(bytearray):
        def __setitem__(self, key: Any, value: Any) -> None:
            super().__setitem__(key, value)
            super().__setitem__(700, self[700] & 0xFE)

    request = wanted()
    flash = request.image.flash
    request = dataclasses.replace(
        request, image=dataclasses.replace(request.image, flash=flash[:700] + b"\x01" + flash[701:])
    )
    board.machine.chip.flash = Worn(board.machine.chip.flash)
    with board.session() as session, pytest.raises(ReadBackError) as caught:
        write_firmware(session, archive, request)
    assert "Page 5 of flash" in caught.value.what
    assert board.machine.chip.is_mute
    assert archive.writes()[0].outcome == "failed"


def test_a_bootloader_that_gives_nothing_back_is_refused_even_so(
    board: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be read back cannot be proven: nothing is written, not even with a discard."""
    from hostlink.practice.bootloader import Bootloader

    monkeypatch.setattr(Bootloader, "_read", lambda *_: None)
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, wanted(discard_board=True))
    assert "does not allow flash to be read" in caught.value.what
    assert board.machine.chip.page_writes == {}


@pytest.mark.no_cover
def test_what_may_be_a_larger_bootloader_is_not_overwritten(board: Any, archive: Archive) -> None:
    """An image up to 7800 on a board that holds something from 7000 on: the size must be said."""
    request = wanted(chip=ATMEGA328P, boot_bytes=2048, image=image(size=0x7800))
    board.machine.chip.flash[0x7000:0x7800] = bytes(range(256)) * 8
    before = bytes(board.machine.chip.flash)
    with board.session() as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, request)
    assert "beyond 7000" in caught.value.what
    assert "--bootloader-bytes" in in_commands(caught.value.advice)
    assert bytes(board.machine.chip.flash) == before
    small = dataclasses.replace(request, image=image(size=600))
    with board.session() as session:
        write_firmware(session, archive, small)
    assert bytes(board.machine.chip.flash[0x7000:]) == before[0x7000:]
    with board.session() as session:
        write_firmware(session, archive, dataclasses.replace(request, boot_is_known=True))
    assert holds(board, request)
    with board.session() as session:  # what stands there now was written from here
        write_firmware(session, archive, dataclasses.replace(request, image=image(9, 0x7800)))
    assert board.machine.chip.flash[0x7000:0x7800] == image(9, 0x7800).flash[0x7000:]


def test_a_network_port_without_a_restart_line_is_refused(board: Any, archive: Archive) -> None:
    """`socket://` cannot restart a board, so nothing is begun."""
    with board.session(port="socket://desk:4000") as session, pytest.raises(RefusedError) as caught:
        write_firmware(session, archive, wanted())
    assert "no restart line" in caught.value.what
    assert board.pulses == 0


@pytest.mark.parametrize("seed", range(4))
def test_on_a_wire_that_loses_a_byte_in_two_thousand_it_is_still_right(
    table: Callable[..., Any], archive: Archive, seed: int
) -> None:
    """Damage in both directions while flash is read and written: it ends well, or says no."""
    from hostlink.practice.faults import Damage

    board = table()
    board.load(MEMORY)

    def noisy(event: Any) -> None:
        if "Writing" in getattr(event, "text", ""):
            board.machine.faults = dataclasses.replace(
                board.machine.faults, to_board=0.0005, to_host=0.0005
            )
            board.machine._in_damage = Damage(0.0005, seed)
            board.machine._out_damage = Damage(0.0005, seed + 100)
        if "Waiting for the firmware" in getattr(event, "text", ""):
            board.machine.faults = dataclasses.replace(
                board.machine.faults, to_board=0.0, to_host=0.0
            )

    board.on_event = noisy
    with board.session() as session:
        write_firmware(session, archive, wanted())
    assert holds(board, wanted())


@pytest.mark.parametrize("name", [each for each in shipped_profiles() if each != "ecma-55"])
def test_the_first_program_has_no_fault_for_any_shipped_kind(name: str) -> None:
    """It is loaded into boards that nobody has measured: the review finds nothing at all."""
    material = first_program()
    assert not review(material.listing, find_profile(name).rules).findings
