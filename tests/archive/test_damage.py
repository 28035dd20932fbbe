"""A file with damaged rows: what is whole can still be read, the rest is named and never served."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.backups import BackupItem
from hostlink.archive.database.checksums import checksum
from hostlink.archive.database.joined import Part, Records
from hostlink.archive.database.tables import TABLES
from hostlink.archive.programs import programs_at
from hostlink.archive.search.hits import Hits
from hostlink.cli.ways import in_commands
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
Damaged = Callable[..., Archive]


@pytest.fixture
def damaged(path: Path, content: MakeContent) -> Damaged:
    """An archive with two programs, a backup and firmware, changed by SQL behind its back."""
    with Archive.open(path) as archive:
        board = archive.board_seen(serial="red-1")
        archive.board_label(board.uuid, "Red")
        red = Origin("board", "red", board.uuid)
        archive.keep("TIDE", content('10 PRINT "EBB"\n'), Origin("file", "tide.bas"), title="Sea")
        archive.keep("MOON", content('10 PRINT "FULL"\n'), red)
        archive.keep("MOON", content('10 PRINT "NEW"\n'), red)
        archive.note("MOON", "bright")
        archive.note("MOON@1", "round")
        archive.tag("MOON", "night", "sky")
        archive.rescue(content("10 REM R\n"), red, program="MOON")
        archive.keep_backup(
            board.uuid, [BackupItem("memory", content("10 REM M\n"), 2)], profile="practice"
        )
        image = archive.keep_image(b"\x0c\x94" * 8, part="ATmega328P", name="one")
        archive.begin_write(board.uuid, image, previous=image, role="computer", part="ATmega328P")
        archive.set_host_copy(board.uuid, content("10 REM H\n"), proven=True)
        with archive.event("load", board_uuid=board.uuid, program="TIDE"):
            pass

    def change(*statements: str) -> Archive:
        conn = sqlite3.connect(path)
        conn.execute("PRAGMA ignore_check_constraints = ON")
        names = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        for (name,) in conn.execute(names).fetchall():
            conn.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            conn.execute(statement)
        conn.commit()
        conn.close()
        return Archive.open(path)

    return change


# One statement for each table, what lists the rows, and how the damaged one is called.
LISTS: list[tuple[str, Callable[[Archive], Any], str, int]] = [
    (
        "UPDATE revisions SET origin_where = 'tidf.bas' WHERE id = 1",
        lambda it: it.programs(),
        "TIDE",
        1,
    ),
    (
        "UPDATE revisions SET kept_at = '2031-09-03T18:30:00.000Z' WHERE id = 2",
        lambda it: it.history("MOON"),
        "MOON@1",
        1,
    ),
    ("UPDATE revisions SET captures = 9 WHERE id = 2", lambda it: it.history("MOON"), "MOON@1", 1),
    ("UPDATE listings SET profile = 'x' WHERE id = 2", lambda it: it.history("MOON"), "MOON@1", 1),
    ("UPDATE programs SET title = 'Sex' WHERE id = 1", lambda it: it.programs(), "TIDE", 1),
    ("UPDATE programs SET retired_at = '' WHERE id = 1", lambda it: it.programs(), "TIDE", 1),
    ("UPDATE notes SET text = 'x' WHERE id = 1", lambda it: it.programs(), "A note on MOON", 2),
    ("UPDATE tags SET tag = 'x' WHERE id = 1", lambda it: it.programs(), "A tag of MOON", 2),
    ("UPDATE notes SET text = 'x' WHERE id = 2", lambda it: it.history("MOON"), "MOON@1", 2),
    ("UPDATE rescues SET captures = 1", lambda it: it.rescues(), "rescue@1", 0),
    ("UPDATE rescues SET kept_at = CAST(x'ff' AS TEXT)", lambda it: it.rescues(), "rescue@1", 0),
    ("UPDATE boards SET last_seen = ''", lambda it: it.boards(), "The board Red", 0),
    ("UPDATE events SET detail = '[]' WHERE job = 'load'", lambda it: it.events(), "(load)", 1),
    ("UPDATE backups SET free_bytes = 7", lambda it: it.backups(), "backup@1", 0),
    ("UPDATE backup_items SET slot = 'x'", lambda it: it.backups(), "of backup@1", 1),
    ("UPDATE firmware_writes SET outcome = 'done'", lambda it: it.writes(), "The record of the", 0),
    ("UPDATE firmware_images SET name = 'x'", lambda it: it.writes(), "The record of the", 0),
    ("UPDATE revisions SET origin = 'x' WHERE id = 1", lambda it: it.find("print"), "TIDE", 1),
    ("UPDATE rescues SET note = 'x'", lambda it: it.find("rem"), "rescue@1", 0),
    ("DELETE FROM programs WHERE id = 1", lambda it: it.find("print"), "", 1),
    ("DELETE FROM listings WHERE id = 1", lambda it: it.programs(), "TIDE", 1),
]


@pytest.mark.one_in(5)
@pytest.mark.parametrize(("damage", "ask", "named", "left"), LISTS)
def test_a_list_goes_on_around_a_damaged_row_and_names_it(
    damaged: Damaged,
    damage: str,
    ask: Callable[[Archive], Any],
    named: str,
    left: int,
) -> None:
    """Whatever kind of row it is, and whatever column: the others are there, and prove finds it."""
    with damaged(damage) as archive:
        found = ask(archive)
        assert len(found) == left
        assert not named or any(named in each and "damaged" in each for each in found.damaged)
        assert "".join(found.damaged).isprintable()
        assert archive.prove().lasting


ONES: list[tuple[str, Callable[[Archive], Any], str]] = [
    (
        "UPDATE revisions SET origin_where = 'x' WHERE id = 1",
        lambda it: it.revision("TIDE@1"),
        "TIDE@1 is damaged",
    ),
    ("UPDATE revisions SET note = 'x' WHERE id = 1", lambda it: it.revision("TIDE"), "TIDE@1 is"),
    ("UPDATE programs SET latest_id = 2 WHERE id = 1", lambda it: it.revision("TIDE"), "TIDE is"),
    ("UPDATE programs SET title = 'x' WHERE id = 1", lambda it: it.program("TIDE"), "TIDE is"),
    ("DELETE FROM listings WHERE id = 1", lambda it: it.program("TIDE"), "latest revision of TIDE"),
    (
        "UPDATE revisions SET listing_id = 2 WHERE id = 1",
        lambda it: it.revision("TIDE@1"),
        "TIDE@1 is damaged",
    ),
    ("UPDATE boards SET label = 'Rad'", lambda it: it.board("red"), "The board Rad is damaged"),
    ("UPDATE boards SET profile = 'x'", lambda it: it.board_seen(serial="red-1"), "boards is"),
    ("UPDATE rescues SET size_bytes = 7", lambda it: it.revision("rescue@1"), "rescue@1 is"),
    ("UPDATE backups SET banner = 'x'", lambda it: it.backup("backup@1"), "backup@1 is damaged"),
    (
        "UPDATE backup_items SET captures = 3",
        lambda it: it.backup("backup@1"),
        "memory of backup@1 is damaged",
    ),
    (
        "UPDATE listings SET text = 'x' WHERE id = 2",
        lambda it: it.content(it.revision("MOON@1")),
        "The listing of MOON@1 is damaged",
    ),
    (
        "UPDATE listings SET text = CAST(x'ff' AS TEXT) WHERE id = 2",
        lambda it: it.content(it.revision("MOON@1")),
        "The listing of MOON@1 is damaged",
    ),
    (
        "UPDATE listings SET canonical = NULL, text = lower(text) WHERE id = 2",
        lambda it: it.content(it.revision("MOON@1")),
        "The listing of MOON@1 is damaged",
    ),
]


@pytest.mark.one_in(4)
@pytest.mark.parametrize(("damage", "ask", "said"), ONES)
def test_one_damaged_thing_is_refused_in_a_sentence(
    damaged: Damaged, damage: str, ask: Callable[[Archive], object], said: str
) -> None:
    """The error says what is damaged and names `archive prove`, which finds it; never a bug."""
    with damaged(damage) as archive:
        with pytest.raises(ArchiveError, match=said) as refused:
            ask(archive)
        assert "archive prove" in in_commands(refused.value.advice)
        assert str(refused.value).isprintable()
        assert archive.prove().lasting


@pytest.mark.parametrize(
    ("damage", "ask"),
    [
        ("UPDATE boards SET profile = 'x'", lambda it: it.revision("MOON@1").spec == "MOON@1"),
        ("UPDATE programs SET title = 'x'", lambda it: it.revision("MOON@2").spec == "MOON@2"),
        ("UPDATE programs SET title = 'x'", lambda it: len(it.history("MOON")) == 2),
        ("UPDATE programs SET title = 'x'", lambda it: it.rescues()[0].program == "MOON"),
        ("UPDATE notes SET text = 'x'", lambda it: it.program("MOON").note == ""),
        ("UPDATE revisions SET note = 'x' WHERE id = 2", lambda it: it.program("MOON").latest == 2),
        (
            "UPDATE host_copies SET text = 'x'",
            lambda it: it.host_copy(it.board("red").uuid) is None,
        ),
        ("UPDATE events SET job = 'x'", lambda it: len(it.programs()) == 2),
        ("UPDATE firmware_images SET data = x'00'", lambda it: len(it.boards()) == 1),
    ],
)
def test_what_does_not_need_the_damaged_row_works(
    damaged: Damaged, damage: str, ask: Callable[[Archive], bool]
) -> None:
    """A damaged title does not take the revisions away, nor a damaged board the listings."""
    with damaged(damage) as archive:
        assert ask(archive)


def test_a_note_is_not_shown_at_the_revision_to_which_a_damaged_index_leads(
    damaged: Damaged,
) -> None:
    """The index holds each note one revision further on; the note itself tells where it belongs."""
    right = "CREATE INDEX notes_by_revision ON notes (revision_id) WHERE revision_id IS NOT NULL"
    change = "UPDATE sqlite_master SET sql = '{}' WHERE name = 'notes_by_revision'"
    damaged("PRAGMA writable_schema = ON", change.format(right.replace("_id)", "_id + 1)"))).close()
    damaged("REINDEX notes_by_revision").close()
    archive = damaged("PRAGMA writable_schema = ON", change.format(right))
    with archive:
        history = archive.history("MOON")
        assert [revision.note for revision in history] == ["", ""]
        assert any("the notes on MOON@2 is damaged" in each for each in history.damaged)
        assert archive.prove().can_rebuild
        archive.rebuild()
        assert [revision.note for revision in archive.history("MOON")] == ["round", ""]


def test_a_program_to_which_a_damaged_page_leads_is_not_listed_with_others(
    archive: Archive, content: MakeContent, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a page does on which two rows have one id: the one found later is a retired program."""
    for name in ("TIDE", "EBB"):
        archive.keep(name, content("10 END\n"), Origin("file"))
    archive.retire("EBB")

    def misled(db: Database, ids: list[int], *_: Any) -> tuple[dict[int, Any], list[str]]:
        found, lost = programs_at(db, [1, 2])
        return dict.fromkeys(ids, found[2]), lost

    monkeypatch.setattr("hostlink.archive.programs.programs_at", misled)
    held = archive.programs()
    assert not held
    assert any("leads to EBB is damaged" in each for each in held.damaged)


def test_a_reference_that_is_no_number_is_refused_in_a_sentence(damaged: Damaged) -> None:
    """As a damaged page may have it; SQLite itself does not store it in a STRICT table."""
    change = "UPDATE sqlite_master SET sql = {} WHERE name = 'revisions'"
    loose = change.format("replace(sql, ') STRICT', ')')")
    damaged("PRAGMA writable_schema = ON", loose).close()
    archive = damaged("UPDATE revisions SET program_id = x'ff' WHERE id = 1")
    with archive, pytest.raises(ArchiveError, match="A row that refers to another one is damaged"):
        archive.find("print")


def test_a_damaged_host_copy_is_made_anew(damaged: Damaged, content: MakeContent) -> None:
    """The next load or save puts a whole one in its place."""
    with damaged("UPDATE host_copies SET text = 'x'") as archive:
        board = archive.board("red").uuid
        archive.set_host_copy(board, content("10 REM NEW\n"), proven=False)
        copy = archive.host_copy(board)
        assert copy is not None and copy.content.text == "10 REM NEW\n"
        assert copy.proven_at is None  # when the damaged one was proven is not known


@pytest.mark.parametrize(
    "damage",
    [
        ("UPDATE programs SET name_key = 'tidf' WHERE id = 1",),
        (),
    ],
)
def test_a_damaged_program_is_never_said_not_to_be_there(
    damaged: Damaged, content: MakeContent, damage: tuple[str, ...], path: Path
) -> None:
    """An index that lost a name is damage, not "there is no program"; nor is the name given
    again."""
    with damaged(*damage) as archive:
        pass
    if not damage:
        _lose_name_in_index(path)
    with Archive.open(path) as archive:
        for ask in (
            lambda: archive.program("tide"),
            lambda: archive.history("TIDE"),
            lambda: archive.keep("TIDE", content("10 REM NEW\n"), Origin("file")),
        ):
            with pytest.raises(
                ArchiveError, match=r"The index that leads to (TIDE|tide) is damaged"
            ):
                ask()
        assert not archive.prove().clean


@pytest.mark.parametrize("name", ["\0\0\0\0", "", "TIDE@2"])
def test_a_damaged_name_that_no_program_can_have_is_never_shown(
    damaged: Damaged, name: str
) -> None:
    """Even where name and folded name were overwritten alike, so that one seems to prove the
    other."""
    blob = name.encode().hex()
    both = f"name = CAST(x'{blob}' AS TEXT), name_key = CAST(x'{blob}' AS TEXT)"
    with damaged(f"UPDATE programs SET {both} WHERE id = 2") as archive:
        rescues = archive.rescues()
        assert [each.program for each in rescues] == [""]
        assert rescues.damaged
        assert [each.program for each in archive.events() if each.program] == ["TIDE"]


def test_two_rows_with_one_id_are_judged_each_by_its_own_checksum() -> None:
    """Damage may give a row the id of another; neither may lend the other its columns."""
    tags = TABLES["tags"]
    record = Records(
        (Part("tags", "tags"),), lambda parts, _: str(parts["tags"]["tag"]), lambda _: "a tag"
    )
    db = Database(memory=True)
    db.execute(f"CREATE TABLE tags ({', '.join((*tags.summed, 'checksum'))})")  # no key: ids repeat
    marks = ", ".join("?" * (len(tags.summed) + 1))
    for tag, wrong_by in (("sea", 0), ("moon", 1), ("tide", 0)):
        row = [tag if name == "tag" else 7 for name in tags.summed]
        db.execute(f"INSERT INTO tags VALUES ({marks})", (*row, checksum(tags, row) + wrong_by))
    found = record.listed(db)
    db.close()
    assert (list(found), len(found.damaged)) == (["sea", "tide"], 1)


def test_what_a_damaged_index_found_by_another_listing_is_not_shown(
    damaged: Damaged, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One flipped bit in the index of listings makes MOON look like what holds EBB."""
    moon = {"id": 2, "program_id": 2, "listing_id": 1}
    monkeypatch.setattr(Hits, "revisions", lambda _: iter([moon]))
    with damaged() as archive:
        found = archive.find("ebb")
    assert list(found) == []
    assert found.damaged == ("The index that leads to the revisions is damaged in the archive.",)


def test_a_renamed_column_is_damage(damaged: Damaged) -> None:
    """A flipped bit in the stored schema may turn a name into its capitals."""
    archive = damaged("ALTER TABLE programs RENAME COLUMN latest_id TO LATEST_ID")
    with archive, pytest.raises(ArchiveError, match="is damaged in the archive"):
        archive.retire("TIDE")


def _lose_name_in_index(path: Path) -> None:
    """Change a byte of the index of names, and not of the table."""
    data = path.read_bytes()
    at = [each.start() for each in re.finditer(b"tide", data)]
    for each in at:
        changed = data[:each] + b"tidf" + data[each + 4 :]
        path.write_bytes(changed)
        conn = sqlite3.connect(path)
        held = conn.execute("SELECT name_key FROM programs NOT INDEXED WHERE id = 1").fetchone()
        found = conn.execute("SELECT id FROM programs WHERE name_key = 'tide'").fetchone()
        conn.close()
        if held == ("tide",) and found is None:
            return
    pytest.fail("the index of names was not found in the file")


def test_a_whole_export_goes_on_around_what_is_damaged(
    damaged: Damaged, held_records: Callable[..., Any]
) -> None:
    """What is whole is carried; what is not, and what cannot be told without it, is named."""
    with damaged(
        "UPDATE listings SET text = 'x' WHERE id = 2", "UPDATE boards SET profile = 'x'"
    ) as archive:
        records = held_records(archive)
    assert [each["number"] for each in records.held["revisions"]] == [1, 2]
    assert records.held["boards"] == [] and records.held["backups"] == []
    assert len(records.held["rescues"]) == 1 and records.held["rescues"][0]["board"] is None
    named = " ".join(records.left_out)
    assert "(the board Red) is damaged" in named
    assert "revisions (MOON@1) has a damaged listing" in named
    assert "(backup@1) belongs to a damaged board" in named


def test_one_damaged_program_does_not_keep_the_others_from_being_exported(
    damaged: Damaged, held_records: Callable[..., Any]
) -> None:
    """Its revisions cannot be told without it; those of the others go."""
    with damaged("UPDATE programs SET title = 'x' WHERE id = 2") as archive:
        records = held_records(archive)
    assert [each["name"] for each in records.held["programs"]] == ["TIDE"]
    assert len(records.held["revisions"]) == 1
    assert sum("belongs to a damaged program" in each for each in records.left_out) >= 2


def test_a_damaged_row_is_healed_by_an_import(damaged: Damaged, path: Path, tmp_path: Path) -> None:
    """A duplicate made before has every row whole; what was damaged here is as it was."""
    spare = tmp_path / "spare.sqlite3"
    with Archive.open(path) as archive:
        archive.duplicate(spare)
        events = [event.uuid for event in archive.events()]
    statements = [each[0] for each in LISTS if each[0].startswith("UPDATE")]
    with damaged(
        *(each for each in statements if "host_copies" not in each and "latest_id" not in each)
    ) as archive:
        assert archive.prove().lasting
        archive.rebuild()
        merged = archive.merge_file(spare)
        assert len(merged.healed) >= 10
        archive.rebuild()
        assert archive.prove().findings == ()
        assert archive.program("TIDE").title == "Sea"
        assert archive.board("red").profile == ""
        assert set(events) <= {event.uuid for event in archive.events()}
        assert not archive.merge_file(spare).anything


def test_a_damaged_backup_is_listed_but_never_put_back(damaged: Damaged) -> None:
    """What goes to a board from a backup is proven by its hash first."""
    change = "UPDATE listings SET text = '10 REM W', raw = NULL, canonical = NULL WHERE id = 5"
    with damaged(change) as archive:
        listed = archive.backups()
        assert [each.spec for each in listed] == ["backup@1"] and listed[0].items == ()
        assert "memory of backup@1 is damaged" in listed.damaged[0]
        with pytest.raises(ArchiveError, match="memory of backup@1 is damaged") as refused:
            archive.backup("backup@1")
        assert "can still be read with any SQLite tool" in refused.value.kept
        assert any("(backup@1)" in each for each in archive.prove().findings)


def test_a_damaged_firmware_image_knows_that_it_is(damaged: Damaged) -> None:
    """The history still shows it, and whoever would write it can ask."""
    with damaged("UPDATE firmware_images SET data = zeroblob(16)") as archive:
        (write,) = archive.writes()
    assert not write.image.sound
