"""Revisions and how they are kept and named."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from hostlink.archive import Archive, Content, Origin, Rescue, Revision
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


def test_a_new_listing_becomes_revision_one(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """The first keep makes the program and its revision 1, with all that was said of it."""
    kept = archive.keep("Tide", content("10 PRINT 1\n20 END\n"), from_file, title="Tide clock")
    assert kept.is_new
    revision = kept.revision
    assert (revision.program, revision.number, revision.spec) == ("Tide", 1, "Tide@1")
    assert (revision.line_count, revision.size_bytes, revision.parent) == (2, 18, "")
    assert revision.origin == from_file
    assert archive.program("tide").title == "Tide clock"
    assert archive.history("TIDE") == [revision]


def test_the_latest_content_again_gives_that_revision_back(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """Keeping what is latest adds nothing; keeping what was earlier adds a revision."""
    first = archive.keep("TIDE", content("10 A\n"), from_file).revision
    again = archive.keep("tide", content("10 A\n"), Origin("board"))
    assert (again.revision, again.is_new) == (first, False)
    archive.keep("TIDE", content("10 B\n"), from_file)
    back = archive.keep("TIDE", content("10 A\n"), from_file)
    assert (back.revision.number, back.is_new) == (3, True)
    assert [one.number for one in archive.history("TIDE")] == [1, 2, 3]


def test_one_byte_more_is_another_revision(archive: Archive, from_file: Origin) -> None:
    """Exact bytes decide, not the text."""
    archive.keep("TIDE", Content(b"10 A\n", "10 A\n", "10 A\n", "p", "latin-1"), from_file)
    other = archive.keep(
        "TIDE", Content(b"10 A\r\n", "10 A\n", "10 A\n", "p", "latin-1"), from_file
    )
    assert other.revision.number == 2
    assert len(archive.holds(archive.content(other.revision))) == 2


def test_the_name_is_shown_as_first_given(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """Case does not make another program, and does not change the shown name."""
    archive.keep("Tide", content("10 A\n"), from_file)
    assert archive.keep("TIDE", content("10 B\n"), from_file).revision.program == "Tide"
    assert [program.name for program in archive.programs()] == ["Tide"]


def test_parent_is_the_latest_or_what_was_named(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """A revision knows which one it was made from, of its own program or another."""
    first = archive.keep("TIDE", content("10 A\n"), from_file).revision
    second = archive.keep("TIDE", content("10 B\n"), from_file).revision
    third = archive.keep("TIDE", content("10 C\n"), from_file, parent=first).revision
    copy = archive.keep("EBB", content("10 C\n"), from_file, parent=third).revision
    assert (first.parent, second.parent, third.parent, copy.parent) == (
        "",
        "TIDE@1",
        "TIDE@1",
        "TIDE@3",
    )


def test_a_parent_from_elsewhere_is_refused(
    archive: Archive, content: MakeContent, from_file: Origin, tmp_path: Path
) -> None:
    """A revision of another archive cannot be a parent here, and nothing is kept."""
    with Archive.open(tmp_path / "other.sqlite3") as other:
        stranger = other.keep("X", content("10 A\n"), from_file).revision
    with pytest.raises(ArchiveError, match=r"lacks the revision it was made from, X@1\."):
        archive.keep("TIDE", content("10 A\n"), from_file, parent=stranger)
    assert archive.programs() == []


def test_specs_name_latest_numbered_and_rescues(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """NAME is the latest, NAME@1 the first, rescue@1 the first rescue, rescue the latest one."""
    first = archive.keep("TIDE", content("10 A\n"), from_file).revision
    second = archive.keep("TIDE", content("10 B\n"), from_file).revision
    rescue = archive.rescue(content("10 C\n"), Origin("rescue"))
    assert archive.revision(" tide ") == second
    assert archive.revision("tide@1") == first
    assert archive.revision("rescue@1") == archive.revision("rescue") == rescue


def test_unknown_specs_say_what_there_is(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """The error names the nearest programs, or how far the revisions go."""
    archive.keep("TIDE", content("10 A\n"), from_file)
    with pytest.raises(ArchiveError, match="nearest names are: TIDE"):
        archive.revision("TYDE")
    with pytest.raises(ArchiveError, match="List what is there"):
        archive.history("QQQQQQ")
    with pytest.raises(ArchiveError, match=r"no revision 9\. Its revisions go up to 1"):
        archive.revision("TIDE@9")
    with pytest.raises(ArchiveError, match="no rescue 4"):
        archive.revision("rescue@4")


def test_board_captures_and_restart_are_recorded(archive: Archive, content: MakeContent) -> None:
    """Where a revision came from is kept in full."""
    board = archive.board_seen(location="practice://red")
    origin = Origin("board", "practice://red", board.uuid, "after class", 3, True)
    revision = archive.keep("TIDE", content("10 A\n"), origin).revision
    assert revision.origin == origin
    assert revision.note == "after class"
    typed = archive.keep("TIDE", content("10 B\n"), Origin("file")).revision
    assert (typed.origin.captures, typed.origin.after_restart) == (0, False)


def test_holds_finds_revisions_and_rescues_by_canonical_text(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """What is the same program for the board is found, however its bytes differ."""
    revision = archive.keep("TIDE", content("10 print 1\n"), from_file).revision
    rescue = archive.rescue(content("10 PRINT 1\n"), Origin("rescue"))
    assert archive.holds(content("10 Print 1\n")) == [rescue, revision]
    assert archive.holds(revision.canonical_sha256.upper()) == [rescue, revision]
    assert archive.holds(content("10 PRINT 2\n")) == []
    with pytest.raises(ArchiveError, match="not a SHA-256"):
        archive.holds("TIDE")


def test_a_rescue_promoted_to_a_revision_stays_a_rescue(
    archive: Archive, content: MakeContent
) -> None:
    """Keeping a rescue's content under a name makes a revision; both share one listing."""
    rescue = archive.rescue(content("10 PRINT 1\n"), Origin("rescue", captures=2))
    origin = Origin("rescue", rescue.spec, captures=2)
    revision = archive.keep("SAVED", archive.content(rescue), origin).revision
    assert archive.content(revision) == archive.content(rescue)
    assert archive.revision("rescue@1") == rescue


@pytest.mark.parametrize("table", ["revisions", "rescues", "listings", "notes", "archives"])
@pytest.mark.parametrize("change", ["update", "delete", "replace"])
def test_no_tool_can_change_what_is_kept(
    archive: Archive,
    path: Path,
    content: MakeContent,
    from_file: Origin,
    table: str,
    change: str,
) -> None:
    """UPDATE, DELETE and INSERT OR REPLACE are refused by the file itself, in any SQLite tool."""
    archive.keep("TIDE", content("10 A\n"), from_file)
    archive.rescue(content("10 B\n"), Origin("rescue"))
    archive.note("TIDE", "runs slow")
    sql = {
        "update": f"UPDATE {table} SET id = id + 100",
        "delete": f"DELETE FROM {table}",
        "replace": f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    }[change]
    plain = sqlite3.connect(path)  # with every setting at SQLite's default
    with pytest.raises(sqlite3.IntegrityError, match=f"{table} are never"):
        plain.execute(sql)
    plain.close()
    assert archive.prove().clean


class History(RuleBasedStateMachine):
    """Keeping any listings under any names against a model made of dictionaries."""

    shelf: Archive
    round = 0

    def __init__(self) -> None:
        super().__init__()
        History.round += 1
        self.prefix = f"run {History.round} "
        self.model: dict[str, list[bytes]] = {}

    @rule(
        name=st.sampled_from(["Tide", "tide", "TIDE", "Maze", "dice"]),
        line=st.integers(0, 3),
    )
    def keep(self, name: str, line: int) -> None:
        """A keep adds a revision unless the latest has the same bytes."""
        text = f"10 PRINT {line}\n"
        content = Content(text.encode(), text, text, "practice", "latin-1", len(text))
        held = self.model.setdefault((self.prefix + name).casefold(), [])
        is_new = not held or held[-1] != content.raw
        if is_new:
            held.append(content.raw)
        kept = self.shelf.keep(self.prefix + name, content, Origin("edit"))
        assert (kept.is_new, kept.revision.number) == (is_new, len(held))

    @invariant()
    def histories_agree(self) -> None:
        """Numbers run from 1 without a gap, and each revision gives its bytes back."""
        for name, held in self.model.items():
            history = self.shelf.history(name)
            assert [one.number for one in history] == list(range(1, len(held) + 1))
            assert [self.shelf.content(one).raw for one in history] == held


@pytest.fixture
def shelf(tmp_path: Path) -> Iterator[Archive]:
    """An archive for all rounds of the state machine."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        yield archive


def test_histories_follow_the_model(shelf: Archive) -> None:
    """Any sequence of keeps gives the history that the rules promise."""
    History.shelf = shelf
    run_state_machine_as_test(
        History, settings=settings(max_examples=25, stateful_step_count=12, deadline=None)
    )
    assert shelf.prove().clean


def test_history_and_content_of_other_kinds(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """content takes revisions and rescues, and refuses one that is not in this archive."""
    revision = archive.keep("TIDE", content("10 A\n"), from_file).revision
    rescue = archive.rescue(content("10 B\n"), Origin("rescue"))
    assert isinstance(revision, Revision) and isinstance(rescue, Rescue)
    assert archive.content(revision).text == "10 A\n"
    assert archive.content(rescue).text == "10 B\n"
    with pytest.raises(ArchiveError, match="not in this archive"):
        archive.content(replace(revision, uuid="none"))


@pytest.mark.parametrize(
    "digest", ["", "ab", "a" * 63, "a" * 65, "g" * 64, "é" * 64, "a" * 63 + " "]
)
def test_what_is_no_digest_is_told_with_what_one_is(archive: Archive, digest: str) -> None:
    """Too short, too long, or not hexadecimal: each alone is refused."""
    with pytest.raises(ArchiveError, match=r"is not a SHA-256\. Give 64 hexadecimal digits\."):
        archive.holds(digest)
    assert archive.holds("A" * 64) == []


def test_of_very_many_holders_the_hundred_newest_are_given(
    archive: Archive, content: MakeContent
) -> None:
    """A listing that 101 programs share, and a failure that names what was asked."""
    text = content("10 REM SHARED\n")
    for number in range(101):
        archive.keep(f"P{number}", text, Origin("file"))
    held = archive.holds(text)
    assert len(held) == 100
    assert "P0" not in {each.program for each in held}
    with archive.writing("x") as db:
        db.execute("PRAGMA legacy_alter_table = ON")
        db.execute("ALTER TABLE rescues RENAME TO lost")
    with pytest.raises(ArchiveError, match=r"^The record of this listing could not"):
        archive.holds(text)


def test_text_that_no_file_can_hold_is_refused(archive: Archive) -> None:
    """Half of a character pair is named by its code, and no program is made of it."""
    half = Content(b"x", "10 REM \ud800\n", "10 REM\n", "practice", "latin-1")
    with pytest.raises(ArchiveError, match=r"half of a character pair \(U\+D800\)"):
        archive.keep("TIDE", half, Origin("file"))
    assert archive.programs(retired=None) == []


def test_keeping_looks_rows_up_by_what_few_share(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """No question that is asked to keep a listing goes through a table, or through all rows of one
    profile: at a million revisions that took 369 ms."""
    archive.keep("TIDE", content("10 END\n"), from_file)
    with archive.reading("The plans") as db:
        asked: list[str] = []
        db.conn.set_trace_callback(asked.append)
        archive.keep("TIDE", content("10 STOP\n"), from_file)
        db.conn.set_trace_callback(None)
        chosen = [one for one in asked if one.lstrip().startswith("SELECT")]
        assert any("FROM listings" in one for one in chosen)
        for one in chosen:
            plan = " ".join(row[3] for row in db.conn.execute(f"EXPLAIN QUERY PLAN {one}"))
            assert "listings_by_profile" not in plan, one
            assert "SCAN listings" not in plan, one
            assert "SCAN revisions" not in plan, one
