"""The way back after firmware: whatever goes wrong, it is said what was written and kept, and the
same command, or the one that is advised, brings the programs back."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive, BackupItem, Content
from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import in_commands
from hostlink.errors import (
    ArchiveError,
    ExitStatus,
    HostlinkError,
    Interrupted,
    LinkError,
    Needed,
    RefusedError,
)
from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Image
from hostlink.firmware.plan import blank_padded
from hostlink.jobs.events import BoardRecognised
from hostlink.jobs.firmware.record import previous_image
from hostlink.jobs.firmware.request import AfterWriteError, WriteRequest, Written
from hostlink.jobs.firmware.writing import write_firmware
from hostlink.jobs.listing_source import find_material
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.putback import putback
from hostlink.practice.main_loop import main_loop
from hostlink.practice.ops import Chore, Send, Work

VECTORS = b"\x0c\x94\x40\x00" * 26
SMALL = Chip("ATmega328P", b"\x1e\x95\x0f", flash_bytes=2048, boot_sizes=(512,))
END = 1536  # of its application
PAGES = END // 128
MEMORY = "5 REM TIDE TABLE\n10 PRINT 1\n"
ONE = '10 PRINT "ONE"\n'


def image(seed: int = 3, *, mute: bool = False) -> Image:
    """mute: its first instruction is a jump to itself, so nothing of it is ever heard."""
    vectors = b"\xff\xcf" + VECTORS[2:] if mute else VECTORS
    flash = vectors + random.Random(seed).randbytes(END - len(vectors) - 1) + b"\x01"
    return Image("new.hex", flash, ((0, len(flash)),))


def wanted(**changes: Any) -> WriteRequest:
    return dataclasses.replace(WriteRequest(image(), SMALL, 512, "computer"), **changes)


MUTE = wanted(image=image(mute=True))


def back(board: Any, archive: Archive, **changes: Any) -> Written:
    """`firmware write --previous`, with what was read from the archive and nothing else said."""
    with board.session() as session:
        before, role = previous_image(archive, session.board_in(archive))
        request = wanted(image=before, role=role, goes_back=True, **changes)
        return write_firmware(session, archive, request)


def write(board: Any, archive: Archive, request: WriteRequest) -> Written:
    with board.session() as session:
        return write_firmware(session, archive, request)


@pytest.fixture
def board(table: Callable[..., Any]) -> Any:
    """A board with a program in memory and one stored."""
    made = table()
    made.load(ONE, "ONE")
    made.load(MEMORY)
    return made


def held(board: Any) -> Any:
    return board.memory, board.stored


def flash(board: Any) -> bytes:
    return bytes(board.machine.chip.flash[:END])


def said(board: Any) -> str:
    return " ".join(f"{each.text} {in_commands(each.advice)}" for each in board.said("Warned"))


class Killed(BaseException):
    """The process ends at once."""


def cut(board: Any, at: str, kind: str, nth: int = 1) -> None:
    """Have the next job cut off as the nth event comes whose text or kind holds `at`."""
    seen: list[Any] = []

    def watch(event: Any) -> None:
        if at not in getattr(event, "text", "") and at != type(event).__name__:
            return
        seen.append(event)
        if len(seen) != nth:
            return
        board.on_event = lambda event: None  # noqa: ARG005
        if kind == "kill":
            for name in ("end_event", "end_write"):  # nobody is there any more to say how it ended
                setattr(board.archive, name, lambda *_, **__: None)
            raise Killed
        board.machine.unplugged = kind == "unplug"
        board.cancelled = kind == "stop"

    board.on_event = watch


def again(board: Any) -> None:
    """Plug the board in again: what its memory held is lost. Whoever was killed begins anew."""
    board.plug_in_again()
    for name in ("end_event", "end_write"):
        vars(board.archive).pop(name, None)


# --- an image that leaves the board mute ---------------------------------------------------------


def test_after_a_mute_image_one_command_goes_back_without_loss(
    board: Any, archive: Archive
) -> None:
    """The write fails, and says what is kept and what goes back. That one command, with no further
    word, writes what flash held before and puts every program back."""
    programs, old = held(board), flash(board)
    with pytest.raises(AfterWriteError) as caught:
        write(board, archive, MUTE)
    error = caught.value
    assert error.status is ExitStatus.REFUSED
    assert "new.hex is on the board, every page read back, but the board is silent" in error.what
    assert "kept as backup@1" in error.kept
    assert (
        "Go back to the firmware before it with `hostlink firmware write --previous`"
        in in_commands(error.advice)
    )
    assert flash(board) == blank_padded(MUTE.image.flash, END)
    assert (error.written.answered, error.written.restored) == (False, False)
    assert archive.writes()[0].outcome == "done"
    written = back(board, archive)
    assert (written.restored, written.backup, written.answered) == (True, "backup@1", True)
    assert (held(board), flash(board)) == (programs, old)
    assert "kept as backup@1" in said(board)
    assert [each.spec for each in archive.backups()] == ["backup@1"]


def test_over_a_port_that_stays_open_it_is_looked_at_anew(board: Any, archive: Archive) -> None:
    """As in the app, where a session outlives the job that left the board mute."""
    programs = held(board)
    with board.session() as session:
        with pytest.raises(AfterWriteError):
            write_firmware(session, archive, MUTE)
        before, role = previous_image(archive, session.board_in(archive))
        request = wanted(image=before, role=role, goes_back=True)
        assert write_firmware(session, archive, request).restored
    assert held(board) == programs


def test_after_a_mute_image_another_image_can_be_written_too(board: Any, archive: Archive) -> None:
    """Its bootloader is there, and it is known which board it is and that nothing else is on it."""
    programs = held(board)
    with pytest.raises(AfterWriteError):
        write(board, archive, MUTE)
    assert write(board, archive, wanted()).restored
    assert held(board) == programs


def test_past_a_second_mute_image_the_last_that_answered_comes_back(
    board: Any, archive: Archive
) -> None:
    """Who tries another image on a mute board, and finds it mute too, gets what worked."""
    programs, old = held(board), flash(board)
    for seed in (3, 4):
        with pytest.raises(AfterWriteError) as caught:
            write(board, archive, wanted(image=image(seed, mute=True)))
        assert (
            "Go back to the firmware before it with `hostlink firmware write --previous`"
            in in_commands(caught.value.advice)
        )
    assert back(board, archive).restored
    assert (held(board), flash(board)) == (programs, old)
    assert back(board, archive).written == 0  # there is nothing else that ever answered


def test_the_restarts_of_the_job_teach_nothing_of_the_opening(board: Any, archive: Archive) -> None:
    """A board that was mute as its port was opened, and speaks after the job has restarted it, is
    not remembered as one that restarts when its port is opened."""
    with pytest.raises(AfterWriteError):
        write(board, archive, MUTE)
    back(board, archive)
    (known,) = archive.boards()
    assert known.restarts_on_open is False


@pytest.mark.parametrize("kind", ["unplug", "stop", "kill"])
def test_tried_again_and_cut_off_the_way_back_stays_open(
    board: Any, archive: Archive, kind: str
) -> None:
    """Going back is cut off while flash is read, then half way, then before the programs are back:
    the same command goes on each time, never forward to the mute image again."""
    programs, old = held(board), flash(board)
    with pytest.raises(AfterWriteError):
        write(board, archive, MUTE)
    for at, nth in (
        ("PagesRead", 2),
        ("PageProven", 3),
        ("Waiting for the firmware", 1),
        ("Sending", 1),
    ):
        cut(board, at, kind, nth)
        with pytest.raises((HostlinkError, Killed)) as caught:
            back(board, archive)
        if isinstance(caught.value, HostlinkError):
            assert "kept as backup@1" in caught.value.kept
        again(board)
    written = back(board, archive)
    assert (written.restored, written.backup) == (True, "backup@1")
    assert (held(board), flash(board)) == (programs, old)


def test_once_it_is_back_previous_means_the_other_image_again(board: Any, archive: Archive) -> None:
    """What was finished is finished: the command goes to and fro as before."""
    first = flash(board)
    write(board, archive, wanted())
    back(board, archive)
    assert flash(board) == first
    back(board, archive)
    assert flash(board) == blank_padded(wanted().image.flash, END)


def test_a_mute_board_without_an_earlier_image_is_not_sent_back_to_it(
    table: Callable[..., Any], archive: Archive
) -> None:
    """Flash was blank before: the advice names what can be done, which is to write another."""
    board = table()
    board.machine.hold_flash(b"\xff" * 32_768)
    with pytest.raises(AfterWriteError) as caught:
        write(board, archive, dataclasses.replace(MUTE, this_board="computer", discard_board=True))
    assert "--previous" not in in_commands(caught.value.advice)
    assert "`hostlink firmware write IMAGE`" in in_commands(caught.value.advice)
    assert write(board, archive, wanted()).answered


def test_a_board_that_was_at_its_prompt_since_is_asked_about(board: Any, archive: Archive) -> None:
    """Silent now, it may run what somebody typed: known to have answered, it is no mute board."""
    write(board, archive, wanted())
    board.machine.hold_flash(b"\xff\xcf" + bytes(board.machine.chip.flash[2:]))
    pulses = board.pulses
    with pytest.raises(RefusedError) as caught:
        back(board, archive)
    assert caught.value.needed is Needed.WHICH_BOARD
    with pytest.raises(RefusedError) as caught:
        back(board, archive, this_board="computer")
    assert caught.value.needed is Needed.LOSS
    assert board.pulses == pulses


@pytest.mark.parametrize("what", ["job", "console"])
def test_a_job_or_a_line_typed_since_shows_that_it_is_not_mute(
    board: Any, archive: Archive, what: str
) -> None:
    """It came to a prompt for that, so a program may be in its memory now."""
    with pytest.raises(AfterWriteError):
        write(board, archive, MUTE)
    with board.session() as session:
        uuid = session.board_in(archive).uuid
    if what == "job":
        with archive.event("save", board_uuid=uuid):
            pass
    else:
        typed = Content(b"10 END\n", "10 END\n", "10 END\n", "practice", "latin-1", 6)
        archive.set_host_copy(uuid, typed, proven=False)
    with pytest.raises(RefusedError) as caught:
        back(board, archive)
    assert caught.value.needed is Needed.WHICH_BOARD


def test_another_silent_board_in_its_place_is_not_written(
    board: Any, archive: Archive, table: Callable[..., Any]
) -> None:
    """Bridges without a serial number look alike; its flash tells, before anything is written."""
    with pytest.raises(AfterWriteError):
        write(board, archive, MUTE)
    other = table()
    other.machine.hold_flash(b"\xff\xcf" + bytes(other.machine.chip.flash[2:]))
    with pytest.raises(RefusedError) as caught:
        back(other, archive)
    assert "not the one that was last written to" in caught.value.what
    assert caught.value.needed is Needed.LOSS
    assert other.machine.chip.page_writes == {}
    back(other, archive, this_board="computer", discard_board=True)
    assert other.machine.chip.page_writes


def at_the_last_page(board: Any, do: Callable[[], None]) -> None:
    """Have something change on the board as the new firmware's last page is written."""

    def watch(event: Any) -> None:
        if type(event).__name__ == "PageProven" and event.done == PAGES:
            do()

    board.on_event = watch


def test_firmware_that_talks_in_another_way_is_recognised(board: Any, archive: Archive) -> None:
    """It comes to another prompt than the one before it: the programs go back by that. And going
    back to the one before finds its prompt again."""
    programs, basic = held(board), board.machine.basic
    sound = basic.kind
    settings = dataclasses.replace(sound.settings, prompt=b"ok> ")
    other = dataclasses.replace(sound, settings=settings)
    recognised = []

    def firmware_is(kind: Any) -> None:
        at_the_last_page(board, lambda: setattr(basic, "kind", kind))
        watch = board.on_event

        def heed(event: Any) -> None:
            if isinstance(event, BoardRecognised):
                recognised.append(event.profile.talk.prompt)
            watch(event)

        board.on_event = heed

    firmware_is(other)
    assert write(board, archive, wanted()).restored
    assert held(board) == programs
    firmware_is(sound)
    assert back(board, archive).restored
    assert recognised == [b"ok> ", b"ok> ", sound.settings.prompt]  # the second time before too
    assert held(board) == programs


def test_firmware_that_talks_without_a_prompt_is_left_only_on_the_users_word(
    board: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What talks has a keyboard, perhaps: a program may be in its memory. The advice has the word
    in it, and then one command goes back and puts the programs on the board."""
    programs = held(board)
    place = "hostlink.practice.machine.main_loop"

    def chatter(*_: Any, **__: Any) -> Any:
        while True:
            yield Send(b"TIDE IS COMING IN\r\n")
            yield Work(Chore.STATEMENT, 200)

    at_the_last_page(board, lambda: monkeypatch.setattr(place, chatter))
    with pytest.raises(AfterWriteError) as caught:
        write(board, archive, wanted())
    assert "does not come to the prompt of profile practice" in caught.value.what
    assert "`hostlink firmware write --previous --discard-board`" in in_commands(
        caught.value.advice
    )
    board.on_event = lambda event: None  # noqa: ARG005
    with pytest.raises(RefusedError) as refused:
        back(board, archive)
    assert refused.value.needed is Needed.LOSS
    at_the_last_page(board, lambda: monkeypatch.setattr(place, main_loop))
    assert back(board, archive, discard_board=True).restored
    assert held(board) == programs


def test_an_image_for_the_display_written_to_the_computer_by_mistake(
    board: Any, archive: Archive
) -> None:
    """A display is silent and nothing is amiss; going back still knows that a BASIC was there."""
    programs, old = held(board), flash(board)
    mistaken = dataclasses.replace(MUTE, role="display", this_board="display")
    written = write(board, archive, mistaken)
    assert (written.backup, written.restored) == ("backup@1", False)
    written = back(board, archive)
    assert (written.role, written.restored) == ("computer", True)
    assert (held(board), flash(board)) == (programs, old)


# --- cut off -------------------------------------------------------------------------------------


@pytest.mark.one_in(5)
@pytest.mark.parametrize("kind", ["unplug", "kill"])
@pytest.mark.parametrize(
    ("at", "nth"),
    [
        ("Restarting the board", 1),
        ("PagesRead", 1),
        ("PagesRead", SMALL.pages),
        ("PageProven", 4),
        ("PageProven", PAGES),
        ("Waiting for the firmware", 1),
        ("Clearing the program memory", 2),
        ("Putting the program into memory", 1),
        ("Sending", 2),
        ("Reading back", 2),
    ],
)
def test_cut_off_at_any_moment_the_same_command_puts_the_programs_back(
    board: Any, archive: Archive, at: str, nth: int, kind: str
) -> None:
    """Unplugged or killed, and no supply afterwards: the backup of the first attempt is found, put
    back and named. Where something could be said, it named the backup and what puts it back."""
    programs = held(board)
    cut(board, at, kind, nth)
    with pytest.raises((HostlinkError, Killed)) as caught:
        write(board, archive, wanted())
    again(board)
    assert board.memory == {}
    if isinstance(caught.value, HostlinkError):
        assert caught.value.status is not ExitStatus.DONE
        assert "kept as backup@1" in caught.value.kept
    written = write(board, archive, wanted())
    assert (written.restored, written.backup) == (True, "backup@1")
    assert held(board) == programs
    assert flash(board) == blank_padded(wanted().image.flash, END)
    assert "backup@1" in said(board)
    assert [each.spec for each in archive.backups()] == ["backup@1"]


@pytest.mark.parametrize("at", ["PagesRead", "Waiting for the firmware", "Sending"])
def test_stopped_it_says_where_the_programs_are(board: Any, archive: Archive, at: str) -> None:
    """Before the first page they are put back at once; later the same command, or the one that is
    named, does it."""
    programs = held(board)
    cut(board, at, "stop", 2 if at == "Sending" else 1)
    with pytest.raises(Interrupted) as caught:
        write(board, archive, wanted())
    assert "kept as backup@1" in caught.value.kept
    if at == "PagesRead":
        assert "They are in its memory again." in caught.value.kept
        assert held(board) == programs
        return
    assert "after new.hex was written and read back" in caught.value.what
    assert "Do the same again" in in_commands(caught.value.advice)
    assert board.memory == {}
    assert write(board, archive, wanted()).restored
    assert held(board) == programs


def test_putting_the_backup_back_by_hand_settles_it(board: Any, archive: Archive) -> None:
    """Whoever did as the message says, and then changed the program, gets what is there now."""
    cut(board, "PagesRead", "unplug")
    with pytest.raises(LinkError) as caught:
        write(board, archive, wanted())
    assert "at once with `hostlink putback backup@1`" in in_commands(caught.value.advice)
    again(board)
    with board.session() as session:
        putback(session, archive, archive.backup("backup@1"))
    again(board)
    written = write(board, archive, wanted())
    assert written.backup == "backup@2"  # memory was lost by that time: only what is stored
    assert board.memory == {}


def test_a_program_that_was_loaded_since_is_what_goes_back(
    board: Any, archive: Archive, tmp_path: Path
) -> None:
    """And what the first attempt took off is named, not put in its place."""
    (tmp_path / "mine.bas").write_text("10 REM MINE\n", encoding="ascii")
    cut(board, "PagesRead", "unplug")
    with pytest.raises(LinkError):
        write(board, archive, wanted())
    again(board)
    with board.session() as session:
        material = find_material(str(tmp_path / "mine.bas"), archive)
        load(session, archive, material, LoadOptions())
        written = write_firmware(session, archive, wanted())
    assert (written.backup, written.restored) == ("backup@2", True)
    assert board.memory == {10: b"REM MINE"}


def test_a_program_typed_since_is_kept_and_put_back_and_the_first_one_named(
    board: Any, archive: Archive
) -> None:
    """Typed at the board's keyboard, nobody told of it; it is another one than the backup's."""
    cut(board, "PagesRead", "unplug")
    with pytest.raises(LinkError):
        write(board, archive, wanted())
    again(board)
    board.load("10 REM TYPED\n")
    written = write(board, archive, wanted())
    assert (written.backup, written.restored) == ("backup@2", True)
    assert board.memory == {10: b"REM TYPED"}
    assert "Put it back with `hostlink putback backup@1`" in said(board)


def test_a_part_of_the_program_is_no_program_of_its_own(board: Any, archive: Archive) -> None:
    """A putback that was cut short left the first line: the whole of it goes back."""
    programs = held(board)
    cut(board, "PagesRead", "unplug")
    with pytest.raises(LinkError):
        write(board, archive, wanted())
    again(board)
    board.load(MEMORY.split("\n", maxsplit=1)[0] + "\n")
    assert write(board, archive, wanted()).backup == "backup@1"
    assert held(board) == programs


def test_a_damaged_backup_is_told_and_stops_nothing(
    board: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be put back must not keep a mute board mute."""
    old = flash(board)
    with pytest.raises(AfterWriteError):
        write(board, archive, MUTE)

    def damaged(_: Any, spec: str) -> Any:
        raise ArchiveError(f"{spec} is damaged.")

    monkeypatch.setattr("hostlink.archive.backups.Backups.backup", damaged)
    written = back(board, archive)
    assert (written.backup, flash(board)) == ("", old)
    assert "backup@1 is damaged" in said(board)


def test_a_write_cut_off_at_another_computer_is_found_after_a_merge(
    board: Any, archive: Archive, tmp_path: Path
) -> None:
    """Both archives have a backup@1: the one meant is found by what no other has."""
    programs = held(board)
    cut(board, "PagesRead", "unplug")
    with pytest.raises(LinkError):
        write(board, archive, wanted())
    again(board)
    odd = Content(b"10 REM ODD\n", "10 REM ODD\n", "10 REM ODD\n", "practice", "latin-1", 10)
    with Archive.open(tmp_path / "other.sqlite3") as other:
        elsewhere = other.board_seen(location="elsewhere")
        other.keep_backup(elsewhere.uuid, [BackupItem("memory", odd, 2)], profile="practice")
        other.merge_file(tmp_path / "archive.sqlite3")
        board.archive = other
        written = write(board, other, wanted())
    assert written.backup.startswith("backup@1/")
    assert held(board) == programs


# --- refused by the new firmware -----------------------------------------------------------------


def shrink(board: Any, size: int) -> Callable[[Any], None]:
    def watch(event: Any) -> None:
        if type(event).__name__ == "PageProven" and event.done == PAGES:
            board.machine.basic._state.memory.size = size

    return watch


def test_programs_that_have_no_room_any_more_are_named_and_it_is_a_failure(
    board: Any, archive: Archive
) -> None:
    """The write stands, status 1; what has room is put back, and going back brings all of it."""
    board.load(ONE)
    board.load(MEMORY + "20 PRINT 2, 3, 4, 5, 6, 7\n")
    programs = held(board)
    board.on_event = shrink(board, 30)
    with pytest.raises(AfterWriteError) as caught:
        write(board, archive, wanted())
    error = caught.value
    assert error.status is ExitStatus.REFUSED
    assert "every page read back, but its programs were not put back" in error.what
    assert "memory: it is" in error.what
    assert error.kept == (
        "Its programs are kept as backup@1. All the rest is on the board again: ONE."
    )
    assert "Put them on a larger board with `hostlink putback backup@1`." in in_commands(
        error.advice
    )
    assert "before it with `hostlink firmware write --previous --discard-board`" in in_commands(
        error.advice
    )
    assert flash(board) == blank_padded(wanted().image.flash, END)
    assert held(board) == ({}, programs[1])
    board.on_event = lambda event: None  # noqa: ARG005

    def grow(event: Any) -> None:
        if "Writing" in getattr(event, "text", ""):
            board.machine.basic._state.memory.size = 999

    board.on_event = grow
    assert back(board, archive, discard_board=True).backup == "backup@1"
    assert held(board) == programs


def test_an_unfinished_program_is_carried_over_new_firmware(board: Any, archive: Archive) -> None:
    """The board held it, so it goes back as it was, whatever a review says of it."""
    board.load("10 GOSUB 100\n")
    assert write(board, archive, wanted()).restored
    assert board.memory == {10: b"GOSUB 100"}


def test_a_link_that_fails_after_the_write_is_a_failure_too(
    board: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Captures that do not agree while the programs go back: status 1, both sides said."""
    from hostlink.errors import ReadBackError

    def unproven(*_: Any, **__: Any) -> Any:
        raise ReadBackError("Line 10 is missing.", kept="Memory may hold another program.")

    monkeypatch.setattr("hostlink.jobs.firmware.restoring.putback", unproven)
    with pytest.raises(AfterWriteError) as caught:
        write(board, archive, wanted())
    assert caught.value.status is ExitStatus.REFUSED
    assert "programs were not put back: Line 10 is missing." in caught.value.what
    assert caught.value.kept == (
        "Its programs are kept as backup@1. Memory may hold another program."
    )
    assert "Try again with `hostlink putback backup@1`." in in_commands(caught.value.advice)


def test_a_wire_that_fails_once_while_the_programs_go_back_is_tried_again(
    board: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are on the board in the end, and the write is done."""
    programs, failed = held(board), []

    def once(*words: Any, **options: Any) -> Any:
        if not failed:
            failed.append(1)
            raise LinkError("It could not be typed right.")
        return putback(*words, **options)

    monkeypatch.setattr("hostlink.jobs.firmware.restoring.putback", once)
    assert write(board, archive, wanted()).restored
    assert failed
    assert held(board) == programs


# --- going on where something cannot be kept -----------------------------------------------------


def test_giving_up_flash_gives_up_nothing_else(board: Any, archive: Archive) -> None:
    """`--discard-board`, advised where flash cannot be read, still keeps the programs."""
    from hostlink.errors import ReadBackError

    programs = held(board)

    def unreadable(event: Any) -> None:
        if "Reading all of flash" in getattr(event, "text", ""):
            raise ReadBackError("Page 2 of flash cannot be read or written reliably.")

    board.on_event = unreadable
    with pytest.raises(ReadBackError):
        write(board, archive, wanted())
    assert held(board) == programs
    board.on_event = lambda event: None  # noqa: ARG005
    written = write(board, archive, wanted(discard_board=True))
    assert written.restored
    assert held(board) == programs


def test_giving_up_a_stored_program_gives_up_nothing_else(board: Any, archive: Archive) -> None:
    """One slot cannot be read: refused, and with `--discard-board` all else is kept and goes
    back."""
    memory = board.memory
    board.load(ONE, "TWO")
    board.load(MEMORY)

    def spoil(event: Any) -> None:
        if "stored as ONE" in getattr(event, "text", ""):
            board.machine.basic.eeprom.pop("ONE", None)

    board.on_event = spoil
    with pytest.raises(RefusedError) as caught:
        write(board, archive, wanted())
    assert caught.value.needed is Needed.LOSS
    board.machine.basic.eeprom["ONE"] = {10: b"PRINT 1"}
    written = write(board, archive, wanted(discard_board=True))
    assert written.restored
    assert board.memory == memory
    assert "Not kept, as you asked: ONE." in said(board)
    assert {item.name for item in archive.backup("backup@1").items} == {"memory", "TWO"}


def test_a_place_that_the_new_firmware_emptied_is_filled_unasked(
    board: Any, archive: Archive
) -> None:
    """It refuses the recall then; what it held is in the backup that this write made."""
    commands = find_profile("practice").commands
    commands = dataclasses.replace(commands, store="STOW ONE", recall="FETCH ONE", stored="")
    profile = dataclasses.replace(find_profile("practice"), commands=commands)
    programs = held(board)

    def blank(event: Any) -> None:
        if "Waiting for the firmware" in getattr(event, "text", ""):
            board.machine.basic.eeprom.clear()

    board.on_event = blank
    with board.session(profile) as session:
        assert write_firmware(session, archive, wanted()).restored
    assert held(board) == programs
