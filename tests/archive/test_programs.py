"""Programs, notes, tags, retirement."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


@pytest.fixture
def evening(archive: Archive, content: MakeContent, from_file: Origin) -> Archive:
    """An archive with three programs of the class."""
    for name, title in (("TIDE", "Tide clock"), ("dice", "Dice table"), ("Maze", "")):
        archive.keep(name, content(f'10 PRINT "{name}"\n'), from_file, title=title)
    return archive


def test_programs_are_listed_by_name_with_their_latest_revision(
    evening: Archive, content: MakeContent, from_file: Origin
) -> None:
    """The list is sorted without regard to case and tells the latest size and lines."""
    evening.keep("TIDE", content("10 A\n20 B\n30 C\n"), from_file)
    assert [program.name for program in evening.programs()] == ["dice", "Maze", "TIDE"]
    tide = evening.program("tide")
    assert (tide.revisions, tide.latest, tide.size_bytes, tide.line_count) == (2, 2, 15, 3)
    assert [program.name for program in evening.programs(limit=1)] == ["dice"]


def test_a_title_given_later_replaces_the_first(
    evening: Archive, content: MakeContent, from_file: Origin
) -> None:
    """A title changes only when another is given."""
    evening.keep("TIDE", content("10 A\n"), from_file)
    assert evening.program("TIDE").title == "Tide clock"
    evening.keep("TIDE", content("10 A\n"), from_file, title="Ebb and flow")
    assert evening.program("TIDE").title == "Ebb and flow"


def test_a_retired_program_leaves_the_list_and_keeps_everything(evening: Archive) -> None:
    """Retire hides, bring_back shows again; twice does no harm; both are recorded once."""
    assert evening.retire("tide").retired
    assert evening.retire("tide").retired
    assert [program.name for program in evening.programs()] == ["dice", "Maze"]
    assert [program.name for program in evening.programs(retired=True)] == ["TIDE"]
    assert len(evening.programs(retired=None)) == 3
    assert evening.revision("TIDE@1").line_count == 1
    assert not evening.bring_back("TIDE").retired
    assert not evening.bring_back("TIDE").retired
    told = [(event.job, event.outcome) for event in evening.events(program="tide")]
    assert told == [("return", "done"), ("retire", "done")]


def test_keeping_a_revision_brings_a_retired_program_back(
    evening: Archive, content: MakeContent, from_file: Origin
) -> None:
    """A program that gets a new revision is in use again."""
    evening.retire("TIDE")
    evening.keep("TIDE", content("10 A\n"), from_file)
    assert not evening.program("TIDE").retired


def test_the_last_note_is_shown_and_all_are_kept(evening: Archive) -> None:
    """Notes are added, never changed."""
    evening.note("TIDE", "runs slow")
    evening.note("tide", "  mended  ")
    assert evening.program("TIDE").note == "mended"
    assert [text for _, text in evening.notes("TIDE")] == ["runs slow", "mended"]
    evening.note("TIDE", "")
    assert evening.program("TIDE").note == ""


def test_a_note_on_a_revision_belongs_to_it_alone(evening: Archive, content: MakeContent) -> None:
    """NAME@1 takes its own note, shown instead of the one it was kept with."""
    evening.keep("TIDE", content("10 A\n"), Origin("edit", note="shorter"))
    assert [one.note for one in evening.history("TIDE")] == ["", "shorter"]
    evening.note("TIDE@2", "shorter and wrong")
    assert [one.note for one in evening.history("TIDE")] == ["", "shorter and wrong"]
    assert evening.program("TIDE").note == ""
    revision = evening.revision("TIDE@2")
    assert revision.origin.note == "shorter"


def test_notes_need_something_to_be_on(evening: Archive, content: MakeContent) -> None:
    """A rescue or an unknown program takes no note."""
    evening.rescue(content("10 A\n"), Origin("rescue"))
    with pytest.raises(ArchiveError, match="cannot have a note"):
        evening.note("rescue@1", "x")
    with pytest.raises(ArchiveError, match="no program"):
        evening.note("NOPE", "x")


def test_tags_are_put_on_and_taken_off(evening: Archive) -> None:
    """Tags are compared without case, shown as first given, in natural order, each once."""
    evening.tag("TIDE", "week10", "sea", "Clock", "SEA", "week2")
    evening.tag("Maze", "game")
    assert evening.program("TIDE").tags == ("Clock", "sea", "week2", "week10")
    evening.untag("TIDE", "week2", "week10")
    assert [program.name for program in evening.programs(tag="Sea")] == ["TIDE"]
    evening.untag("TIDE", "sea", "never had it")
    assert evening.program("TIDE").tags == ("Clock",)
    assert evening.programs(tag="sea") == []


@pytest.mark.parametrize("tag", ["", "two words", "x" * 41, "a\nb", "\ud800"])
def test_what_is_no_tag_is_refused_with_all_others(evening: Archive, tag: str) -> None:
    """One bad tag in a list leaves the program's tags as they were."""
    with pytest.raises(ArchiveError, match="cannot be a tag") as refused:
        evening.tag("TIDE", "good", tag)
    assert refused.value.kept == "No tag was changed."
    assert evening.program("TIDE").tags == ()
    evening.tag("TIDE", "x" * 40)
    assert evening.program("TIDE").tags == ("x" * 40,)


def test_times_are_those_of_the_clock(archive: Archive, content: MakeContent) -> None:
    """What is kept later has a later time, in UTC."""
    first = archive.keep("A", content("10 A\n"), Origin("edit")).revision
    second = archive.keep("A", content("10 B\n"), Origin("edit")).revision
    assert first.at.utcoffset() == timedelta(0)
    assert first.at.year == 2031
    assert timedelta(0) < second.at - first.at < timedelta(seconds=10)


def test_the_views_tell_all_to_any_tool(evening: Archive, path: Path) -> None:
    """A person with any SQLite tool can read programs, revisions, rescues, boards and events."""
    evening.note("TIDE", "runs slow")
    evening.tag("TIDE", "sea")
    board = evening.board_seen(location="practice://red")
    evening.board_label(board.uuid, "Red")
    revision = evening.revision("TIDE")
    evening.rescue(
        evening.content(revision), Origin("rescue", board_uuid=board.uuid), program="TIDE"
    )
    conn = sqlite3.connect(path)
    conn.row_factory = sqlite3.Row
    programs = [dict(row) for row in conn.execute("SELECT * FROM program_list")]
    assert [row["name"] for row in programs] == ["dice", "Maze", "TIDE"]
    assert (programs[2]["note"], programs[2]["tags"]) == ("runs slow", "sea")
    listed = conn.execute("SELECT * FROM revision_list WHERE program = 'TIDE'").fetchone()
    assert (listed["number"], listed["listing"]) == (1, '10 PRINT "TIDE"\n')
    assert listed["sha256"] == revision.sha256
    rescued = conn.execute("SELECT * FROM rescue_list").fetchone()
    assert (rescued["board"], rescued["program"]) == ("Red", "TIDE")
    assert conn.execute("SELECT label FROM board_list").fetchone()[0] == "Red"
    assert conn.execute("SELECT job, board FROM event_list").fetchone()[:] == ("rescue", "Red")
    conn.close()
