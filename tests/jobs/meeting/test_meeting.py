"""Meeting a board over a port: what is asked of it, what needs consent, and what is never done."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from pytest_mock import MockerFixture

from hostlink.advice import advice_text
from hostlink.archive import Archive
from hostlink.cli.ways import IN_MEET
from hostlink.errors import LinkReason
from hostlink.jobs.meeting import meeting
from hostlink.jobs.meeting.meeting import look_here, meet_board
from hostlink.jobs.meeting.rungs import climb
from hostlink.jobs.meeting.seen import Restart, Seen

NEW = b"\xff" * 32_768
STUCK = b"\xff\xcf" + b"\xff" * 32_766  # an endless jump: a firmware that says nothing


@pytest.fixture
def board(table: Callable[..., Any]) -> Any:
    """A practice board on a table."""
    return table()


class Consent:
    """Answers the question whether the board may be restarted, and counts it."""

    def __init__(self, answer: bool) -> None:
        self.answer = answer
        self.asked: list[str] = []

    def __call__(self, question: str) -> bool:
        self.asked.append(question)
        return self.answer


def met(board: Any, archive: Archive, consent: Consent, seen: Seen | None = None) -> Seen:
    with board.session() as session:
        return meet_board(session, archive, seen or Seen(port="practice://red"), consent)


def test_a_board_with_a_basic_is_never_restarted(board: Any, archive: Archive) -> None:
    """Its program is read and named, nobody is asked, the restart line is not touched."""
    board.load('10 PRINT "KEPT"\n', "ONE")
    board.load('10 PRINT "IN MEMORY"\n20 END\n')
    memory = board.memory
    consent = Consent(answer=False)
    seen = met(board, archive, consent)
    assert (consent.asked, board.pulses, board.memory) == ([], 0, memory)
    assert seen.basic is not None and seen.basic.kind == "practice"
    assert seen.contents is not None
    assert (seen.contents.lines, seen.contents.stored) == (2, ("ONE",))
    assert climb(seen).status == 0


def test_a_new_board_is_told_by_its_bootloader(board: Any, archive: Archive) -> None:
    """Silent, then restarted with consent: speed and chip are told, flash is blank, unchanged."""
    board.machine.hold_flash(NEW)
    before = bytes(board.machine.chip.flash)
    consent = Consent(answer=True)
    seen = met(board, archive, consent)
    assert len(consent.asked) == 1 and "restart loses any program" in consent.asked[0]
    assert seen.bootloader is not None and seen.bootloader.is_blank
    assert (seen.bootloader.baud, seen.bootloader.part_number) == (115200, "ATmega328P")
    assert bytes(board.machine.chip.flash) == before
    assert not board.machine.chip.page_writes
    assert climb(seen).status == 1


def test_without_consent_a_silent_board_is_not_restarted(board: Any, archive: Archive) -> None:
    """The meeting ends there; with consent it goes on from there, without asking all again."""
    board.machine.hold_flash(STUCK)
    seen = met(board, archive, Consent(answer=False))
    assert (board.pulses, seen.restart) == (0, Restart.DECLINED)
    assert seen.trouble is not None and seen.trouble.reason is LinkReason.SILENT
    sent: list[bytes] = []
    board.on_write = sent.append
    seen = met(board, archive, Consent(answer=True), seen)
    assert sent[0] == b"\x30\x20"  # the first question is the bootloader's
    assert seen.bootloader is not None and not seen.bootloader.is_blank


def test_a_running_program_is_left_alone(board: Any, archive: Archive) -> None:
    """A program that prints is no silence: no question, no restart, it runs on."""
    board.load("10 PRINT 1\n20 GOTO 10\n")
    with board.session() as session:
        session.attach()
        session.wire.port.write(b"RUN\r")
    consent = Consent(answer=True)
    seen = met(board, archive, consent)
    assert seen.trouble is not None and seen.trouble.reason is LinkReason.RUNNING
    assert (consent.asked, board.pulses) == ([], 0)
    assert climb(seen).broken is not None


def test_a_program_that_ran_silently_shows_after_the_restart(board: Any, archive: Archive) -> None:
    """An endless loop is silent; the restart, agreed to, ends it and the BASIC answers."""
    board.load("10 GOTO 10\n")
    with board.session() as session:
        session.attach()
        session.wire.port.write(b"RUN\r")
        session.wire.clock.sleep(1.0)
        session.wire.port.reset_input_buffer()  # the echo
    seen = met(board, archive, Consent(answer=True))
    assert seen.restart is Restart.DONE
    assert seen.basic is not None and seen.bootloader is not None


def test_the_firmware_on_a_silent_board_is_known_by_the_archive(
    board: Any, archive: Archive
) -> None:
    """A board that moved to another port is known by its flash as a display."""
    board.machine.hold_flash(STUCK)
    image = archive.keep_image(b"\xff\xcf", part="ATmega328P", name="view.hex")
    other = archive.board_seen(vid=None, pid=None, serial="", location="elsewhere")
    write = archive.begin_write(other.uuid, image, previous=None, role="display", part="ATmega328P")
    archive.end_write(write, "done")
    seen = met(board, archive, Consent(answer=True))
    assert seen.bootloader is not None
    assert (seen.bootloader.image, seen.bootloader.role) == ("view.hex", "display")
    assert climb(seen).status == 0


def test_a_write_that_was_cut_off_is_named(board: Any, archive: Archive) -> None:
    """Half of the image is behind the guard of its first page: the write is to be repeated."""
    page = 128  # bytes: ATmega328P, data sheet 8271H, table 27-7
    image = b"\x0c\x94\x34\x00" * 512
    with board.session() as session:
        session.attach()
        known = archive.board_seen(
            vid=session.identity.vid,
            pid=session.identity.pid,
            serial=session.identity.serial,
            location=session.identity.location,
        )
    kept = archive.keep_image(image, part="ATmega328P", name="class.hex")
    archive.begin_write(known.uuid, kept, previous=None, role="display", part="ATmega328P")
    board.machine.hold_flash((STUCK[:page] + image[page : 6 * page]).ljust(32_768, b"\xff"))
    climbed = climb(met(board, archive, Consent(answer=True)))
    assert climbed.broken is not None and climbed.status == 1
    assert climbed.broken.finding.says == "The write of class.hex was cut off."
    told = advice_text(climbed.end, IN_MEET)
    assert told.startswith("The chip is alive. Repeat it with `hostlink firmware write class.hex")
    assert "display board" not in told


def test_a_board_without_a_bootloader_is_dead_as_far_as_is_known(
    table: Callable[..., Any], archive: Archive
) -> None:
    """No answer before and after the restart: the climb ends at the first question to the board."""
    board = table(bootloader=False)
    board.machine.hold_flash(STUCK)
    seen = met(board, archive, Consent(answer=True))
    assert seen.bootloader is None and seen.basic is None
    broken = climb(seen).broken
    assert broken is not None and broken.rung.id == "answer"


# --- this computer -------------------------------------------------------------------------------


@pytest.fixture
def plug(mocker: MockerFixture) -> Callable[..., None]:
    """Plug in bridges of CH340 type at the named ports."""

    def put(*names: str) -> None:
        infos = [
            SimpleNamespace(
                device=name,
                description="n/a",
                vid=0x1A86,
                pid=0x7523,
                serial_number=None,
                location=f"1-{place}",
            )
            for place, name in enumerate(names, 1)
        ]
        mocker.patch("serial.tools.list_ports.comports", return_value=infos)
        mocker.patch.object(meeting, "hidden_bridges", return_value=[])

    return put


def test_the_only_bridge_is_the_one_that_is_met(plug: Any, mocker: MockerFixture) -> None:
    """Chip with its USB numbers, driver of the system; no port has to be named."""
    plug("/dev/null")
    seen = look_here(None, system="linux")
    assert (seen.port, seen.bridge) == ("/dev/null", "CH340 serial converter (1a86:7523)")
    assert seen.driver == "ch341, part of the Linux kernel"
    plug("/dev/null", "/dev/zero")
    assert look_here(None, system="linux").ports == ("/dev/null", "/dev/zero")
    plug()
    mocker.patch.object(meeting, "hidden_bridges", return_value=[("1-2", 0x1A86, 0x7523)])
    (hidden,) = look_here(None, system="linux").hidden
    assert "CH340" in hidden and "ch341" in hidden


def test_what_the_archive_knows_of_the_board_is_seen_before_it_is_opened(
    plug: Any, archive: Archive
) -> None:
    """Label and role of the board at the same socket."""
    plug("/dev/null")
    board = archive.board_seen(vid=0x1A86, pid=0x7523, serial="", location="1-1")
    archive.board_label(board.uuid, "Red")
    archive.set_board_role(board.uuid, "display")
    seen = look_here(archive)
    assert (seen.label, seen.role) == ("Red", "display")
