"""Putback: memory and stored programs, proven; single items; what does not fit said beforehand."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.archive import Archive, BackupItem, Content
from hostlink.board.profile import Profile
from hostlink.board.profile_file import find_profile
from hostlink.errors import Interrupted, RefusedError
from hostlink.jobs.backup import backup
from hostlink.jobs.putback import putback

MEMORY = "5 REM TIDE TABLE\n10 PRINT 1\n"
ONE = '10 PRINT "ONE"\n20 END\n'
TWO = "10 FOR I = 1 TO 3\n20 PRINT I\n30 NEXT I\n"


def lines(text: str) -> dict[int, bytes]:
    return {
        int(row.split(" ", 1)[0]): row.split(" ", 1)[1].encode() for row in text.strip().split("\n")
    }


@pytest.fixture
def kept(table: Callable[..., Any], archive: Archive) -> Any:
    """A board whose backup is in the archive, and that is empty again."""
    board = table()
    board.load(ONE, "ONE")
    board.load(TWO, "TWO")
    board.load(MEMORY)
    with board.session() as session:
        backup(session, archive)
        session.dialogue.clear()
    board.machine.basic.eeprom.clear()
    return board


def test_all_of_it_goes_back(kept: Any, archive: Archive) -> None:
    """Memory and both slots hold what they held; the host copy knows."""
    with kept.session() as session:
        done = putback(session, archive, archive.backup("backup@1"))
    assert kept.memory == lines(MEMORY)
    assert kept.stored == {"ONE": lines(ONE), "TWO": lines(TWO)}
    assert (done.memory, done.stored, done.unchanged) == (True, ("ONE", "TWO"), ())
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None
    assert copy.content.text == MEMORY
    assert copy.proven_at is not None


def test_single_items_leave_the_rest_alone(kept: Any, archive: Archive) -> None:
    """One stored program: memory holds afterwards what it held before."""
    kept.load("10 REM MINE\n")
    with kept.session() as session:
        done = putback(session, archive, archive.backup("backup@1"), ["two"])
    assert kept.stored == {"TWO": lines(TWO)}
    assert kept.memory == {10: b"REM MINE"}
    assert not done.memory
    with kept.session() as session:
        putback(session, archive, archive.backup("backup@1"), ["memory"])
    assert kept.memory == lines(MEMORY)
    assert kept.stored == {"TWO": lines(TWO)}


def test_what_is_there_already_is_not_stored_again(kept: Any, archive: Archive) -> None:
    """The same program in a slot costs no EEPROM writes."""
    with kept.session() as session:
        putback(session, archive, archive.backup("backup@1"))
    sent: list[bytes] = []
    kept.on_write = sent.append
    with kept.session() as session:
        done = putback(session, archive, archive.backup("backup@1"))
    assert done.unchanged == ("ONE", "TWO")
    assert not [data for data in sent if b"STOW" in data]


def test_another_program_in_a_slot_and_in_memory_is_kept_first(kept: Any, archive: Archive) -> None:
    """Nothing is overwritten unsaved: both become rescues, before the store command goes out."""
    kept.load("10 REM OTHER SLOT\n", "ONE")
    kept.load("10 REM OTHER MEMORY\n")
    texts: list[set[str]] = []

    def watch(data: bytes) -> None:
        if b"STOW" in data:
            texts.append({archive.content(each).text for each in archive.rescues()})

    kept.on_write = watch
    with kept.session() as session:
        putback(session, archive, archive.backup("backup@1"))
    assert {"10 REM OTHER SLOT\n", "10 REM OTHER MEMORY\n"} <= texts[0]
    assert kept.stored["ONE"] == lines(ONE)


def sizeless() -> Profile:
    """The practice board's profile, which does not say how much memory the board has."""
    profile = find_profile("practice")
    storage = dataclasses.replace(profile.rules.storage, program_bytes=0)
    return dataclasses.replace(profile, rules=dataclasses.replace(profile.rules, storage=storage))


@pytest.mark.usefixtures("kept")
def test_a_smaller_board_says_beforehand_what_does_not_fit(
    archive: Archive, table: Callable[..., Any]
) -> None:
    """By the board's own free memory, not only its profile's; nothing is sent, and the rest is
    named so that it can go."""
    small = table(program_bytes=25)
    small.name = "small"
    sent: list[bytes] = []
    small.on_write = sent.append
    with small.session(sizeless()) as session, pytest.raises(RefusedError) as caught:
        putback(session, archive, archive.backup("backup@1"))
    assert "TWO: it is" in caught.value.what
    assert "memory: it is" in caught.value.what
    assert caught.value.advice == "The rest fits: --item ONE"
    assert not [data for data in sent if b"STOW" in data or data[:1].isdigit()]
    with small.session(sizeless()) as session:
        assert putback(session, archive, archive.backup("backup@1"), ["ONE"]).stored == ("ONE",)
    assert small.stored == {"ONE": lines(ONE)}


@pytest.mark.usefixtures("kept")
def test_a_full_eeprom_is_told_in_the_boards_words(
    archive: Archive, table: Callable[..., Any]
) -> None:
    """The board's own refusal stops it, and memory is as before."""
    small = table(eeprom_bytes=30)
    small.name = "small"
    small.load("10 REM MINE\n")
    with small.session() as session, pytest.raises(RefusedError) as caught:
        putback(session, archive, archive.backup("backup@1"), ["ONE", "TWO"])
    assert "shelf full" in caught.value.what
    assert small.memory == {10: b"REM MINE"}


def test_an_unknown_item_is_refused_with_the_known_ones(kept: Any, archive: Archive) -> None:
    """A misspelt item sends nothing."""
    with kept.session() as session, pytest.raises(RefusedError) as caught:
        putback(session, archive, archive.backup("backup@1"), ["THREE"])
    assert caught.value.advice == "It has: memory, ONE, TWO."


@pytest.mark.parametrize("name", ["X:NEW", "../X", "A B", "NEW\rRUN", "", "X" * 40, "É"])
def test_a_slot_name_from_an_archive_is_data(kept: Any, archive: Archive, name: str) -> None:
    """A name that no board could have is never typed at one."""
    content = Content(b"10 END\n", "10 END\n", "10 END\n", "practice", "latin-1", 6)
    board = archive.boards()[0]
    made = archive.keep_backup(
        board.uuid, [BackupItem("stored", content, 2, name)], profile="practice"
    )
    sent: list[bytes] = []
    kept.on_write = sent.append
    with kept.session() as session, pytest.raises(RefusedError):
        putback(session, archive, made)
    assert not [data for data in sent if b"STOW" in data or (name and name.encode() in data)]
    assert kept.stored == {}


def test_stopped_in_the_middle_memory_is_put_back(kept: Any, archive: Archive) -> None:
    """What memory held before the putback is there again, and the error says so."""
    kept.load("10 REM MINE\n")

    def cut(event: Any) -> None:
        if "Storing as TWO" in getattr(event, "text", ""):
            kept.cancelled = True

    kept.on_event = cut
    with kept.session() as session, pytest.raises(Interrupted) as caught:
        putback(session, archive, archive.backup("backup@1"))
    assert "Memory holds what it held before." in caught.value.kept
    assert kept.memory == {10: b"REM MINE"}
    (event,) = [each for each in archive.events() if each.job == "putback"]
    assert event.outcome == "interrupted"


def test_discarding_is_said_and_recorded(kept: Any, archive: Archive) -> None:
    """With --discard-board nothing is captured, the record says so."""
    kept.load("10 REM MINE\n")
    with kept.session() as session:
        putback(session, archive, archive.backup("backup@1"), ["memory"], discard_board=True)
    assert "10 REM MINE\n" not in {archive.content(each).text for each in archive.rescues()}
    (event,) = [each for each in archive.events() if each.job == "putback"]
    assert event.detail["discarded"] == "1 line that the board lists, 10"
