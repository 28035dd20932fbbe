"""A file with damaged rows: what is whole can still be read, the rest is refused in a sentence."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.backups import BackupItem
from hostlink.archive.trouble import printable
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
UNLOCKED = (
    "DROP TRIGGER revisions_never_change",
    "DROP TRIGGER listings_never_change",
    "DROP TRIGGER programs_never_delete",
    "DROP TRIGGER firmware_images_never_change",
    "DROP TRIGGER events_end_once",
    "DROP TRIGGER backups_never_change",
)


@pytest.fixture
def damaged(path: Path, content: MakeContent) -> Callable[..., Archive]:
    """An archive with two programs, a backup and firmware, changed by SQL behind its back."""
    with Archive.open(path) as archive:
        board = archive.board_seen(serial="red-1")
        archive.board_label(board.uuid, "Red")
        archive.keep("TIDE", content('10 PRINT "EBB"\n'), Origin("file"))
        archive.keep("MOON", content('10 PRINT "FULL"\n'), Origin("file"))
        archive.keep_backup(
            board.uuid, [BackupItem("memory", content("10 REM M\n"), 2)], profile="practice"
        )
        image = archive.keep_image(b"\x0c\x94" * 8, part="ATmega328P", name="one")
        archive.begin_write(board.uuid, image, previous=image, role="computer", part="ATmega328P")
        with archive.event("load"):
            pass

    def change(*statements: str) -> Archive:
        conn = sqlite3.connect(path)
        conn.execute("PRAGMA ignore_check_constraints = ON")
        for statement in (*UNLOCKED, *statements):
            conn.execute(statement)
        conn.commit()
        conn.close()
        return Archive.open(path)

    return change


@pytest.mark.parametrize(
    ("damage", "ask", "said"),
    [
        ("UPDATE revisions SET kept_at = 'noon'", lambda it: it.history("TIDE"), "A revision is"),
        ("UPDATE revisions SET kept_at = 'noon'", lambda it: it.programs(), "A program is"),
        ("UPDATE boards SET last_seen = ''", lambda it: it.boards(), "A board is damaged"),
        ("UPDATE events SET started_at = '?'", lambda it: it.events(), "An event is damaged"),
        ("UPDATE events SET detail = '{'", lambda it: it.events(), "An event is damaged"),
        ("UPDATE backups SET made_at = '?'", lambda it: it.backups(), "A backup is damaged"),
        (
            "UPDATE firmware_images SET kept_at = '?'",
            lambda it: it.writes(),
            "A firmware image is damaged",
        ),
        (
            "UPDATE revisions SET listing_id = 99 WHERE id = 1",
            lambda it: it.program("TIDE"),
            "The latest revision of this program is damaged",
        ),
        (
            "UPDATE revisions SET listing_id = 99 WHERE id = 1",
            lambda it: it.cargo(),
            "refers to a row of listings that is not there",
        ),
        (
            "UPDATE revisions SET board_id = 99 WHERE id = 1",
            lambda it: it.cargo(),
            "refers to a row of boards that is not there",
        ),
        (
            "UPDATE listings SET text = 'x' WHERE id = 2",
            lambda it: it.cargo(),
            "Listing 2 is damaged",
        ),
        (
            "UPDATE listings SET text = 'x' WHERE id = 2",
            lambda it: it.content(it.revision("MOON")),
            "The listing of MOON@1 is damaged",
        ),
        (
            "UPDATE listings SET text = CAST(x'ff' AS TEXT) WHERE id = 2",
            lambda it: it.content(it.revision("MOON")),
            "The listing of MOON@1 is damaged",
        ),
    ],
)
def test_a_damaged_row_is_refused_in_a_sentence(
    damaged: Callable[..., Archive], damage: str, ask: Callable[[Archive], object], said: str
) -> None:
    """The error says what is damaged and names `archive prove`, which finds it; never a bug."""
    with damaged(damage) as archive:
        with pytest.raises(ArchiveError, match=said) as refused:
            ask(archive)
        assert "archive prove" in refused.value.advice
        assert str(refused.value).isprintable()
        assert archive.prove().lasting


def test_a_search_passes_over_what_is_lost_and_finds_the_rest(
    damaged: Callable[..., Archive],
) -> None:
    """A program row, or a listing, that is gone takes only its own results away."""
    with damaged("DELETE FROM programs WHERE id = 1") as archive:
        assert [each.item.spec for each in archive.find("print")] == ["MOON@1"]
        assert [each.item.spec for each in archive.find("", size=(0, 999))] == ["MOON@1"]


def test_one_damaged_program_does_not_keep_the_others_from_being_exported(
    damaged: Callable[..., Archive],
) -> None:
    """Programs that are whole can be exported by name."""
    with damaged("UPDATE listings SET text = 'x' WHERE id = 1") as archive:
        with pytest.raises(ArchiveError, match="Listing 1 is damaged"):
            archive.cargo()
        assert len(archive.cargo(programs=("MOON",)).records["revisions"]) == 1


def test_a_damaged_backup_is_listed_but_never_put_back(damaged: Callable[..., Archive]) -> None:
    """What goes to a board from a backup is proven by its hash first."""
    change = "UPDATE listings SET text = '10 REM W', raw = NULL, canonical = NULL WHERE id = 3"
    with damaged(change) as archive:
        assert [each.spec for each in archive.backups()] == ["backup@1"]
        with pytest.raises(ArchiveError, match="A listing of backup@1 is damaged") as refused:
            archive.backup("backup@1")
        assert "can still be read with any SQLite tool" in refused.value.kept
        assert any("(backup@1)" in each for each in archive.prove().findings)


def test_a_damaged_firmware_image_knows_that_it_is(damaged: Callable[..., Archive]) -> None:
    """The history still shows it, and whoever would write it can ask."""
    with damaged("UPDATE firmware_images SET data = zeroblob(16)") as archive:
        (write,) = archive.writes()
    assert not write.image.sound


def test_what_a_damaged_file_says_is_made_fit_to_be_shown() -> None:
    """Plain text stays as it is; what a terminal obeys, or cannot show, is told by its code."""
    assert printable("no such table: Ebbe \u00fc") == "no such table: Ebbe \u00fc"
    assert printable("\x1b[2J\n\u202e") == "\\x1b[2J\\n\\u202e"
