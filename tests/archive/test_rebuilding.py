"""What rebuild makes anew, and what it leaves. Each test damages what can be derived again."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.rebuilding import due_objects, objects_in
from hostlink.cli.ways import in_commands
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


@pytest.fixture
def filled(path: Path, content: MakeContent) -> Path:
    """A closed archive with words in listings, title, notes and tags."""
    with Archive.open(path) as archive:
        archive.keep("TIDE", content('10 PRINT "EBB"\n20 GOSUB900\n'), Origin("file"), title="Sea")
        archive.keep("MOON", content("10 PRINT 2\n"), Origin("file"))
        archive.note("MOON", "full")
        archive.tag("MOON", "night")
    return path


# The record of an index's segments (SQLite, fts5_index.c): a number of them that no memory holds;
# and the second one called like the first, which FTS5's own check does not notice, but the next
# word gets a number that is taken.
_HUGE = "UPDATE listing_words_data SET block = x'000000000102378BAE00D3D3B88601' WHERE id = 10"
_TWICE = (
    "UPDATE program_words_data SET block = CAST(substr(block, 1, 12) || substr(block, 10, 1) || "
    "substr(block, 14) AS BLOB) WHERE id = 10"
)


def _damage(path: Path, *statements: str) -> None:
    conn = sqlite3.connect(path)
    conn.execute("PRAGMA writable_schema = ON")
    for statement in statements:
        conn.execute(statement)
    conn.commit()
    conn.close()


@pytest.mark.one_in(5)
@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (["INSERT INTO listing_words (listing_words) VALUES ('delete-all')"], "listing_words does"),
        (["DELETE FROM listing_words_data"], "listing_words does not match"),
        (["DELETE FROM listing_words_config"], "listing_words does not match"),
        (["DELETE FROM sqlite_master WHERE name = 'listing_words'"], "table listing_words is miss"),
        (["UPDATE program_words SET title = 'WRONG' WHERE rowid = 1"], "all words of TIDE"),
        (["DELETE FROM program_words WHERE rowid = 2"], "all words of MOON"),
        (["DELETE FROM program_words_docsize"], "program_words does not match"),
        ([_HUGE], "listing_words does not match"),
        ([_TWICE], "program_words does not match"),
        (["DROP INDEX revisions_by_size"], "index revisions_by_size is missing"),
        (["DROP VIEW program_list"], "view program_list is missing"),
        (["DROP TRIGGER revisions_never_change"], "trigger revisions_never_change is missing"),
        (
            [
                "DROP TRIGGER tags_add_words",
                "CREATE TRIGGER tags_add_words AFTER INSERT ON tags BEGIN SELECT 1; END",
            ],
            "trigger tags_add_words has been changed",
        ),
        (
            [
                "UPDATE sqlite_master SET sql = 'CREATE INDEX revisions_by_size ON revisions "
                "(kept_at)' WHERE name = 'revisions_by_size'"
            ],
            "missing from index revisions_by_size",
        ),
        (
            [
                "UPDATE sqlite_master SET tbl_name = CAST(tbl_name AS BLOB) "
                "WHERE name = 'listing_words_data'"
            ],
            "The table listing_words_data has been changed",
        ),
    ],
)
def test_what_can_be_derived_is_made_anew(
    filled: Path, damage: list[str], said: str, held_records: Callable[..., Any]
) -> None:
    """The damage is found and said to be mendable; after a rebuild the archive is proven clean,
    every search finds what it should, and what was kept is byte for byte what it was."""
    with Archive.open(filled) as archive:
        before = held_records(archive)
    _damage(filled, *damage)
    with Archive.open(filled) as archive:
        proof = archive.prove()
        assert any(said in each for each in proof.findings), proof.findings
        assert proof.can_rebuild
        archive.rebuild()
        assert archive.prove().findings == ()
        after = held_records(archive)
        assert (after.held, after.listings) == (before.held, before.listings)
        for words, name in (("gosub 900", "TIDE"), ("sea", "TIDE"), ("full night", "MOON")):
            assert [each.item.program for each in archive.find(words)] == [name]
        archive.tag("TIDE", "shore")
        assert [each.item.program for each in archive.find("shore")] == ["TIDE"]
    with Archive.open(filled) as archive, archive.reading("the schema") as db:
        assert objects_in(db) == due_objects()


def test_an_index_with_the_wrong_rows_is_made_anew(filled: Path) -> None:
    """Its words are right and its content is another's: SQLite finds it, a rebuild mends it."""
    right = "CREATE INDEX revisions_by_size ON revisions (size_bytes)"
    change = "UPDATE sqlite_master SET sql = '{}' WHERE name = 'revisions_by_size'"
    _damage(filled, change.format(right.replace("size_bytes", "kept_at")))
    _damage(filled, "REINDEX revisions_by_size")
    _damage(filled, change.format(right))
    with Archive.open(filled) as archive:
        found = archive.prove()
        assert any("index revisions_by_size; it can be rebuilt" in one for one in found.findings)
        archive.rebuild()
        assert archive.prove().clean
        assert len(archive.find("", size=(0, 999))) == 2


def test_a_lost_part_of_the_index_is_a_finding_and_not_an_error(filled: Path) -> None:
    """A table of the index that is gone made prove itself fail; now it is told and mended."""
    _damage(filled, "DELETE FROM sqlite_master WHERE name = 'program_words_content'")
    with Archive.open(filled) as archive:
        assert any("program_words_content is missing" in one for one in archive.prove().findings)
        archive.rebuild()
        left = archive.prove().findings  # at the most what the lost table had taken up in the file
        assert all("is never used" in each for each in left)
        assert [each.item.program for each in archive.find("night")] == ["MOON"]


def test_what_was_kept_is_not_made_anew(filled: Path) -> None:
    """A damaged listing stays found after a rebuild: only a duplicate can give it back."""
    _damage(filled, "DROP TRIGGER listings_never_change", "UPDATE listings SET text = 'x'")
    with Archive.open(filled) as archive:
        assert archive.prove().can_rebuild and archive.prove().lasting
        archive.rebuild()
        proof = archive.prove()
    assert proof.lasting and not proof.can_rebuild
    assert any("(TIDE@1): its bytes do not match" in each for each in proof.findings)


def test_a_rebuild_that_fails_changes_nothing(filled: Path) -> None:
    """With a table gone, what belongs to it cannot be made: it says so, and all is as it was."""
    _damage(filled, "DROP TABLE events", "DROP INDEX revisions_by_size")
    with Archive.open(filled) as archive:
        before = archive.prove().findings
        with pytest.raises(ArchiveError, match=r"What was rebuilt was not kept: no such table"):
            archive.rebuild()
        assert archive.prove().findings == before
        assert archive.find("sea")


def test_what_can_be_read_is_accepted_where_it_was_asked_for(
    path: Path, content: MakeContent
) -> None:
    """A wrong letter in a title and in a place are taken as they are, and an event says so for
    good; a time that is none and a listing with another SHA-256 stay damaged."""
    with Archive.open(path) as archive:
        board = archive.board_seen(serial="S1")
        archive.keep("TIDE", content("10 A\n"), Origin("file", "tide.bas"), title="Sea")
        archive.keep("MOON", content("10 B\n"), Origin("file"))
        archive.keep("DICE", content("10 C\n"), Origin("file"))
    _damage(
        path,
        *(f"DROP TRIGGER {table}_never_change" for table in ("revisions", "listings", "boards")),
        "UPDATE programs SET title = 'Sex' WHERE name = 'TIDE'",
        "UPDATE revisions SET origin_where = 'tidf.bas' WHERE id = 1",
        "UPDATE boards SET usb_serial = 'S2'",
        "UPDATE revisions SET kept_at = 'noon' WHERE id = 2",
        "UPDATE listings SET text = '10 D' WHERE id = 3",
    )
    with Archive.open(path) as archive:
        archive.rebuild()
        with pytest.raises(ArchiveError, match="TIDE is damaged"):
            archive.program("TIDE")
        accepted = archive.accept()
        assert accepted == ["row 1 of boards (the board)", "row 1 of programs (TIDE)",
                            "row 1 of revisions (TIDE@1)"]  # fmt: skip
        assert archive.program("TIDE").title == "Sex"
        assert archive.board_seen(serial="S2").uuid == board.uuid
        (event,) = archive.events(job="accept")
        assert event.detail["rows"] == accepted
        findings = archive.prove().findings
        assert len(findings) == 2
        assert "revisions (MOON@1)" in findings[0] and "Listing 3 (DICE@1)" in findings[1]
        assert archive.accept() == []
    with Archive.open(path) as archive, archive.reading("the schema") as db:
        assert objects_in(db) == due_objects()


def test_an_index_that_refuses_new_words_is_called_damaged(filled: Path) -> None:
    """Nothing is kept then; the proof that the message advises names what mends it."""
    _damage(filled, _TWICE)
    with Archive.open(filled) as archive:
        with pytest.raises(ArchiveError, match=r"is damaged \(constraint failed") as caught:
            archive.tag("TIDE", "shore")
        assert "archive prove" in in_commands(caught.value.advice)
        assert not archive.find("shore")
        assert archive.prove().can_rebuild
