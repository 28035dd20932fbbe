"""A stored program whose listing the board's free memory contradicts: kept, marked, and neither
called proven nor overwritten."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.errors import ExitStatus, NotKnownError, ReadBackError
from hostlink.jobs.backup import backup
from hostlink.jobs.putback import putback
from hostlink.jobs.session.restarting import restart
from hostlink.jobs.store_recall import recall, store

STORED = "10 REM STORED\n20 LET S=1\n30 END\n"
MEMORY = "10 PRINT 7\n"


@pytest.fixture
def omitting(table: Callable[..., Any], hide: Callable[..., None]) -> Any:
    """A board that never lists a line 20, which only its stored program X has."""
    board = table()
    board.load(STORED, slot="X")
    board.load(MEMORY)
    hide(board, 20)
    return board


def test_a_backup_marks_it(omitting: Any, archive: Archive) -> None:
    """The item carries what contradicts it, and the command ends with 4."""
    with omitting.session() as session:
        made = backup(session, archive)
    assert made.status is ExitStatus.READ_BACK_DIFFERS
    assert made.proof == f"is kept, not proven ({made.doubt})"
    marks = {item.name: item.unproven for item in archive.backup(made.backup.spec).items}
    assert marks == {"memory": "", "X": str(made.doubt)}


def test_a_store_does_not_overwrite_it(omitting: Any, archive: Archive) -> None:
    """What it lists is kept, not proven; memory holds its program again."""
    before = omitting.stored
    with omitting.session() as session, pytest.raises(NotKnownError) as caught:
        store(session, archive, "X")
    assert caught.value.what.startswith("What X holds is not known for certain: the board reports")
    assert "It was not overwritten. What it lists is kept as rescue@2, not proven." in (
        caught.value.kept
    )
    assert omitting.stored == before
    assert list(omitting.memory) == [10]


def test_a_putback_does_not_overwrite_it(omitting: Any, archive: Archive) -> None:
    """Where another program is to go there; memory holds its own again."""
    stored = omitting.stored
    omitting.machine.basic.eeprom["X"] = {10: b"REM OTHER", 30: b"END"}
    with omitting.session() as session:
        kept = backup(session, archive).backup
    omitting.machine.basic.eeprom.update(stored)
    with omitting.session() as session, pytest.raises(NotKnownError) as caught:
        putback(session, archive, kept)
    assert "It was not overwritten" in caught.value.kept
    assert omitting.stored == stored
    assert list(omitting.memory) == [10]


def test_a_putback_leaves_it_alone_where_it_lists_the_same(omitting: Any, archive: Archive) -> None:
    """It is not stored over, and not called proven."""
    stored = omitting.stored
    omitting.machine.basic.eeprom["X"] = {10: b"REM STORED", 30: b"END"}
    with omitting.session() as session:
        kept = backup(session, archive).backup
    omitting.machine.basic.eeprom.update(stored)
    with omitting.session() as session:
        done = putback(session, archive, kept)
    assert done.unchanged == ("X",)
    assert "the board reports" in done.unproven["X"]
    assert omitting.stored == stored


def test_a_recall_is_not_called_proven(omitting: Any, archive: Archive) -> None:
    """It is in memory; the host copy may lack lines."""
    with omitting.session() as session:
        held = recall(session, archive, "X")
    assert held.doubt is not None
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None
    assert copy.proven_at is None
    assert copy.may_lack_edits


def test_what_was_stored_is_proven_by_the_free_memory_too(omitting: Any, archive: Archive) -> None:
    """The board stores a line that it does not list: the slot lists what it should, and holds
    more."""

    def add(data: bytes) -> None:
        if b"NEW" in data and "Y" in omitting.stored:
            omitting.machine.basic.eeprom["Y"][20] = b"REM MORE"

    omitting.on_write = add
    with omitting.session() as session, pytest.raises(ReadBackError, match="is not proven: the"):
        store(session, archive, "Y")


def test_what_a_restarted_board_holds_is_not_called_proven(omitting: Any, archive: Archive) -> None:
    """It started with a program of its own, whose listing lacks a line."""

    def start(event: Any) -> None:
        if "Reading what the board holds now" in getattr(event, "text", ""):
            omitting.load(STORED)

    omitting.on_event = start
    with omitting.session() as session:
        restart(session, archive, consent=lambda _: True)
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None
    assert copy.proven_at is None
    assert any("is not proven: the board" in event.text for event in omitting.said("Warned"))
