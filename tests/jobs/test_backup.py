"""Backups: everything captured twice, memory put back, and nothing kept that is not proven."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.dialogue.reading import Reading
from hostlink.cli.ways import in_commands
from hostlink.errors import Interrupted, LinkError, LinkReason, ReadBackError, RefusedError
from hostlink.jobs.backup import backup
from hostlink.jobs.listing_source import find_material
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.stored_programs import slot_names
from hostlink.listing.parse import Line

MEMORY = "5 REM TIDE TABLE\n10 PRINT 1\n"
ONE = '10 PRINT "ONE"\n20 END\n'
TWO = "10 FOR I = 1 TO 3\n20 PRINT I\n30 NEXT I\n"


@pytest.fixture
def full(table: Callable[..., Any]) -> Any:
    """A board with two stored programs and another one in memory."""
    board = table()
    board.load(ONE, "ONE")
    board.load(TWO, "TWO")
    board.load(MEMORY)
    return board


def test_everything_is_in_it_and_the_board_is_as_before(full: Any, archive: Archive) -> None:
    """Memory, each stored program, free memory; each captured twice; memory put back."""
    memory, stored = full.memory, full.stored
    with full.session() as session:
        made = backup(session, archive, note="end of class")
    kept = made.backup
    assert (kept.spec, kept.note, made.unread) == ("backup@1", "end of class", {})
    assert {item.name: item.content.text for item in kept.items} == {
        "memory": MEMORY,
        "ONE": ONE,
        "TWO": TWO,
    }
    assert all(item.captures >= 2 for item in kept.items)
    assert kept.free_bytes == full.machine.basic.free()
    assert (full.memory, full.stored) == (memory, stored)
    assert archive.backups() == [kept] == [archive.backup("backup@1")]
    assert [each.outcome for each in archive.events() if each.job == "backup"] == ["done"]


def test_memory_is_in_the_archive_before_it_is_overwritten(full: Any, archive: Archive) -> None:
    """The first recall, which overwrites memory, comes after memory was kept."""
    kept: list[int] = []

    def watch(data: bytes) -> None:
        if b"FETCH" in data:
            kept.append(len(archive.rescues()))

    full.on_write = watch
    with full.session() as session:
        backup(session, archive)
    assert kept
    assert kept[0] == 1


def test_an_empty_memory_is_empty_again_afterwards(
    table: Callable[..., Any], archive: Archive
) -> None:
    """Stored programs alone are a backup; memory is cleared again after they were read."""
    board = table()
    board.load(ONE, "ONE")
    with board.session() as session:
        session.attach()
        session.dialogue.clear()
        made = backup(session, archive)
    assert [item.name for item in made.backup.items] == ["ONE"]
    assert board.memory == {}


def test_an_empty_board_gives_no_backup(table: Callable[..., Any], archive: Archive) -> None:
    """Nothing on the board is no success, and does not stand in for an earlier backup."""
    with table().session() as session, pytest.raises(RefusedError) as caught:
        backup(session, archive)
    assert "holds no program" in caught.value.what
    assert archive.backups() == []


def test_a_board_that_restarted_on_opening_is_labelled(
    table: Callable[..., Any], archive: Archive
) -> None:
    """What is captured after a restart may not be the user's, and the banner was heard."""
    board = table(restarts_on_open=True)
    board.machine.basic.eeprom["START"] = {10: b"REM STARTS ITSELF"}
    with board.session() as session:
        made = backup(session, archive)
    assert made.backup.after_restart
    assert made.backup.banner == "practice board, 999 bytes for a program"


def test_a_stored_program_that_is_refused_is_named_and_the_rest_is_kept(
    full: Any, archive: Archive
) -> None:
    """A slot that the board lists but does not give: the others are kept, memory is put back."""
    memory = full.memory

    def spoil(event: Any) -> None:
        if "stored as ONE" in getattr(event, "text", ""):
            full.machine.basic.eeprom.pop("ONE", None)

    full.on_event = spoil
    with full.session() as session:
        made = backup(session, archive)
    assert list(made.unread) == ["ONE"]
    assert [item.name for item in made.backup.items] == ["memory", "TWO"]
    assert full.memory == memory


def test_stored_programs_that_no_profile_helps_to_find_are_warned_of(
    full: Any, archive: Archive
) -> None:
    """A profile that names no places and no list of them: the backup does not look whole."""
    with full.session() as session:
        session.attach()
        unlisted = dataclasses.replace(session.profile.commands, stored="", list_stored="")
        session.talk_by(dataclasses.replace(session.profile, commands=unlisted))
        made = backup(session, archive)
    assert [item.name for item in made.backup.items] == ["memory"]
    assert any("Stored programs were not read" in each.text for each in full.said("Warned"))


def test_a_stored_program_whose_name_was_misheard_is_kept_all_the_same(
    full: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twice alike the list said OE for ONE: the board refuses that, so it is
    asked for its list again, and ONE is read too."""
    answers = [("OE", "TWO")]
    real = slot_names

    def misheard(session: Any) -> tuple[str, ...]:
        return answers.pop() if answers else real(session)

    monkeypatch.setattr("hostlink.jobs.backup.slot_names", misheard)
    with full.session() as session:
        made = backup(session, archive)
    assert [item.name for item in made.backup.items] == ["memory", "TWO", "ONE"]
    assert "OE" in made.unread["OE"]
    assert list(made.unread) == ["OE"]


def test_what_was_in_memory_is_never_taken_for_a_stored_program(
    full: Any, archive: Archive
) -> None:
    """A recall that came to nothing, twice: the board restarted after it. It is
    asked for again. Where nothing comes at all, that is told, and nothing is made up."""
    restarts: list[int] = []

    def lose(data: bytes) -> None:
        if b"LIST" in data and not restarts and full.said("Phase")[-1].text.endswith("ONE"):
            restarts.append(1)
            full.machine.basic._state.memory.replace({})

    full.on_write = lose
    memory, one = full.memory, full.stored["ONE"]
    with full.session() as session:
        made = backup(session, archive)
    assert made.unread == {}
    items = {item.name: item.content.text for item in made.backup.items}
    assert items["ONE"].count("\n") == len(one)
    assert full.memory == memory
    full.machine.basic.eeprom["ONE"] = {}
    with full.session() as session:
        made = backup(session, archive)
    assert made.unread == {"ONE": "Nothing came when it was recalled."}
    assert [item.name for item in made.backup.items] == ["memory", "TWO"]
    assert full.memory == memory


def test_a_board_that_hangs_in_a_recall_is_restarted_and_memory_put_back(
    full: Any, archive: Archive
) -> None:
    """The program that was in memory is back after the restart that the hang called for."""
    memory = full.memory

    machine = full.machine
    sound = machine._key, machine.receiver.interrupt

    def hang(event: Any) -> None:
        if "stored as TWO" in getattr(event, "text", ""):
            machine._key, machine.receiver.interrupt = (lambda _: None), -1
        if "is restarted" in getattr(event, "text", ""):
            machine._key, machine.receiver.interrupt = sound

    full.on_event = hang
    with full.session() as session:
        made = backup(session, archive)
    assert list(made.unread) == ["TWO"]
    assert full.pulses == 1
    assert full.memory == memory


@pytest.mark.parametrize("banner", ["practice board,", ""])
def test_a_restart_after_memory_was_read_is_made_good(
    table: Callable[..., Any], archive: Archive, banner: str
) -> None:
    """The board restarts by itself while it is asked what it has stored: the
    backup is right, that is told, and memory, which was lost, is put back. Where its banner is not
    known, or was damaged, the command that had to be typed again is reason to look."""
    board = table()
    board.load(MEMORY)
    memory = board.memory
    restarts: list[int] = []

    def watch(data: bytes) -> None:
        if b"SHELF" in data and not restarts:
            restarts.append(1)
            board.machine.restart(board.clock.now())

    board.on_write = watch
    with board.session() as session:
        talk = dataclasses.replace(session.profile.talk, banner=banner)
        session.use(
            LinkChoice(session.choice.port, dataclasses.replace(session.profile, talk=talk))
        )
        made = backup(session, archive)
    assert [item.name for item in made.backup.items] == ["memory"]
    assert board.memory == memory
    (told,) = board.said("Warned")
    assert told.text == "The board lost its program while it was read; it is put back."


@pytest.mark.parametrize("kind", ["stop", "unplug"])
def test_cut_short_the_error_says_where_memory_is(full: Any, archive: Archive, kind: str) -> None:
    """Stopped in the middle of a recall: memory is put back; unplugged: the rescue is named."""
    memory = full.memory

    def cut(event: Any) -> None:
        if "stored as TWO" in getattr(event, "text", ""):
            full.cancelled = kind == "stop"
            full.machine.unplugged = kind == "unplug"

    full.on_event = cut
    with full.session() as session, pytest.raises((Interrupted, LinkError)) as caught:
        backup(session, archive)
    assert archive.backups() == []
    if kind == "stop":
        assert "Memory holds what it held before." in caught.value.kept
        assert full.memory == memory
    else:
        assert isinstance(caught.value, LinkError)
        assert caught.value.reason is LinkReason.GONE
        assert "kept as rescue@1" in caught.value.kept
        assert archive.rescues()[0].spec == "rescue@1"


def test_a_program_that_a_review_would_refuse_is_loaded_again_by_what_is_advised(
    full: Any, archive: Archive
) -> None:
    """Unplugged in the middle of a recall: the command that is named loads the rescue as it was,
    unfinished as it is."""
    full.load("10 GOSUB 100\n")

    def cut(event: Any) -> None:
        full.machine.unplugged = "stored as TWO" in getattr(event, "text", "")

    full.on_event = cut
    with full.session() as session, pytest.raises(LinkError) as caught:
        backup(session, archive)
    full.on_event = lambda event: None  # noqa: ARG005
    spec, option = re.findall(
        r"`hostlink load (\S+)( --despite-review)?`", in_commands(caught.value.advice)
    )[0]
    full.plug_in_again()
    with full.session() as session:
        options = LoadOptions(despite_review=bool(option))
        load(session, archive, find_material(spec, archive), options)
    assert full.memory == {10: b"GOSUB 100"}


def test_captures_that_do_not_agree_keep_nothing(
    full: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A slot that reads differently each time gives no backup; memory is put back."""
    memory = full.memory
    from hostlink.board.dialogue.dialogue import Dialogue

    real = Dialogue.read_listing
    reading: list[int] = []

    def unsteady(self: Dialogue) -> Any:
        shown = real(self)
        if any("stored as ONE" in getattr(event, "text", "") for event in full.events[-30:]):
            reading.append(len(reading))
            if len(reading) <= 24:
                return Reading({10: Line.from_text(f"10 PRINT {len(reading)}")})
        return shown

    monkeypatch.setattr(Dialogue, "read_listing", unsteady)
    with full.session() as session, pytest.raises(ReadBackError) as caught:
        backup(session, archive)
    assert archive.backups() == []
    assert "Memory holds what it held before." in caught.value.kept
    assert full.memory == memory


def test_numbers_go_on_and_an_unknown_backup_is_named(full: Any, archive: Archive) -> None:
    """backup@1, backup@2; others are refused with what there is."""
    with full.session() as session:
        first = backup(session, archive).backup
        second = backup(session, archive).backup
    assert [first.spec, second.spec] == ["backup@1", "backup@2"]
    from hostlink.errors import ArchiveError

    for spec in ("backup@9", "backup", "backup@x", "TIDE@1", ""):
        with pytest.raises(ArchiveError) as caught:
            archive.backup(spec)
        assert in_commands(caught.value.advice)
