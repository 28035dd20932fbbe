"""What the board's free memory contradicts is kept, marked, and never called proven."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from pytest_mock import MockerFixture

from hostlink.archive import Archive
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.dialogue.loading import Loader
from hostlink.cli.ways import in_commands
from hostlink.errors import ExitStatus, Needed, NotKnownError, ReadBackError
from hostlink.jobs.backup import backup
from hostlink.jobs.free_memory import FreeMemoryCheck
from hostlink.jobs.listing_source import find_material, from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.rescuing import rescue_held
from hostlink.sentences import MAY_HAVE_ONE_MORE, UNTOUCHED

HELD = "10 PRINT 1\n20 PRINT 2\n30 END\n"
NEW = b"10 REM NEW\n"


@pytest.fixture
def omitting(table: Callable[..., Any], hide: Callable[..., None]) -> Any:
    """A board that holds three lines and never lists the second."""
    board = table()
    board.load(HELD)
    hide(board, 20)
    return board


def test_a_save_says_that_it_is_not_proven(omitting: Any, archive: Archive) -> None:
    """With both figures, and the revision carries them; the command ends with 4."""
    with omitting.session() as session:
        saved = save(session, archive, SaveOptions("SHORT"))
    assert saved.status is ExitStatus.READ_BACK_DIFFERS
    assert saved.doubt is not None
    assert saved.doubt.expected - saved.doubt.reported == 2 + 7 + 1  # line 20
    assert "not proven: the board reports" in saved.proof
    (revision,) = archive.history("SHORT")
    assert revision.origin.unproven == str(saved.doubt)
    assert revision.origin.note == ""
    assert archive.host_copy(archive.boards()[0].uuid).may_lack_edits


@pytest.mark.parametrize("damaged", [False, True])
def test_no_more_is_said_of_the_program_than_is_known(
    table: Callable[..., Any], archive: Archive, mocker: MockerFixture, damaged: bool
) -> None:
    """A rescue that could not read it did not touch it; but what was typed on a damaging wire may
    have become a line of it (found by the soak)."""
    mocker.patch.object(Dialogue, "capture", side_effect=NotKnownError("A row is no line."))
    with table().session() as session, pytest.raises(NotKnownError) as caught:
        session.attach()
        session.dialogue.evidence.note(DamageSign.NO_LINE, int(damaged))
        rescue_held(session, archive, session.board_in(archive))
    assert caught.value.kept == (MAY_HAVE_ONE_MORE if damaged else UNTOUCHED)


@pytest.mark.parametrize(
    ("where", "kept"),
    [
        ((Loader, "load"), "What the board holds of new.bas is not known."),
        ((FreeMemoryCheck, "after_load"), "new.bas is on the board and proven."),
    ],
)
def test_what_is_not_known_after_sending_is_not_called_untouched(
    table: Callable[..., Any],
    archive: Archive,
    mocker: MockerFixture,
    where: tuple[type, str],
    kept: str,
) -> None:
    """The board was cleared and got lines before its listing showed a row that is none."""
    board = table()
    mocker.patch.object(*where, side_effect=NotKnownError("A row is no line of a program."))
    with board.session() as session, pytest.raises(NotKnownError) as caught:
        load(session, archive, from_bytes(NEW, "new.bas", name="NEW"), LoadOptions())
    assert UNTOUCHED not in caught.value.kept
    assert caught.value.kept.startswith(kept)


@pytest.mark.parametrize("changes", [False, True])
def test_a_load_does_not_overwrite_it(omitting: Any, archive: Archive, changes: bool) -> None:
    """Nothing is sent; what was listed is a rescue, and only a word of the user's goes on."""
    before = omitting.memory
    with omitting.session() as session, pytest.raises(NotKnownError) as caught:
        load(
            session,
            archive,
            from_bytes(NEW, "new.bas", name="NEW"),
            LoadOptions(changes_only=changes),
        )
    assert caught.value.needed is Needed.LOSS
    assert "not known for certain" in caught.value.what
    assert "rescue@1, not proven" in caught.value.kept
    assert omitting.memory == before
    with omitting.session() as session:
        material = from_bytes(NEW, "new.bas", name="NEW")
        load(session, archive, material, LoadOptions(discard_board=True))
        assert any("Not kept, as you asked" in event.text for event in omitting.said("Warned"))
    assert omitting.memory == {10: b"REM NEW"}


def test_a_backup_keeps_it_with_a_mark(omitting: Any, archive: Archive) -> None:
    """Stored programs are not read then, since that would overwrite memory."""
    omitting.machine.basic.eeprom["ONE"] = {10: b"REM STORED"}
    before = omitting.memory
    with omitting.session() as session:
        made = backup(session, archive)
    assert made.status is ExitStatus.READ_BACK_DIFFERS
    assert "not proven" in made.proof
    assert list(made.unread) == ["ONE"]
    assert [item.name for item in made.backup.items] == ["memory"]
    (item,) = archive.backup(made.backup.spec).items
    assert item.unproven == str(made.doubt)
    assert omitting.memory == before


def test_a_load_onto_a_board_that_hides_a_line_is_not_proven(
    table: Callable[..., Any], archive: Archive
) -> None:
    """It lists exactly what was sent, but its free memory says that there is more."""
    board = table()
    with board.session() as session:
        free = board.machine.basic.free
        session.dialogue.free_memory = lambda: free() - (10 if board.memory else 0)
        with pytest.raises(ReadBackError, match="is not proven: the board lists exactly") as caught:
            load(session, archive, from_bytes(NEW, "new.bas", name="NEW"), LoadOptions())
    assert caught.value.status is ExitStatus.READ_BACK_DIFFERS
    assert "survey" in in_commands(caught.value.advice)
    assert archive.events()[0].outcome == "failed"


def test_what_a_board_held_goes_back_whatever_a_review_says_of_it(
    table: Callable[..., Any], archive: Archive
) -> None:
    """An unfinished program, its GOSUB without a line to go to, is a rescue like any other."""
    board = table()
    board.load("10 GOSUB 100\n20 END\n")
    with board.session() as session:
        load(session, archive, from_bytes(NEW, "new.bas", name="NEW"), LoadOptions())
        load(session, archive, find_material("rescue@1", archive), LoadOptions())
    assert board.memory == {10: b"GOSUB 100", 20: b"END"}
