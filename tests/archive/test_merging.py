"""Merging archives loses nothing, doubles nothing, and does not depend on who asks first."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.backups import BackupItem
from hostlink.errors import ArchiveError

NAMES = ("TIDE", "MORSE", "CLOCK")


def content(text: str, *, raw: bytes | None = None) -> Content:
    text = text.replace("|", "\n") + "\n"
    return Content(raw or text.encode(), text, text.upper(), "practice", "latin-1", len(text))


def everything(archive: Archive) -> dict[str, object]:
    """What an archive holds, told so that two archives can be compared: nothing of row ids, of
    names that a merge may show otherwise, or of what only this computer sees."""
    with archive.reading("everything") as db:

        def all_of(sql: str) -> frozenset[tuple[object, ...]]:
            return frozenset(db.execute(sql).fetchall())

        return {
            "programs": all_of("SELECT uuid, title, retired_at FROM programs"),
            "revisions": all_of(
                "SELECT revisions.uuid, programs.uuid, archives.uuid, number, kept_at, "
                "listings.text, listings.raw, origin, revisions.note, "
                "(SELECT uuid FROM revisions AS parent WHERE parent.id = revisions.parent_id) "
                "FROM revisions JOIN programs ON programs.id = program_id "
                "JOIN archives ON archives.id = archive_id "
                "JOIN listings ON listings.id = listing_id"
            ),
            "rescues": all_of(
                "SELECT rescues.uuid, archives.uuid, number, listings.text FROM rescues "
                "JOIN archives ON archives.id = archive_id "
                "JOIN listings ON listings.id = listing_id"
            ),
            "notes": all_of("SELECT uuid, text, noted_at FROM notes"),
            "tags": all_of(
                "SELECT programs.uuid, tag_key FROM tags JOIN programs ON programs.id = program_id"
            ),
            "events": all_of("SELECT uuid, job, outcome, ended_at FROM events"),
        }  # fmt: skip


def fill(archive: Archive, *, name: str = "TIDE", text: str = '10 PRINT "HIGH"') -> None:
    board = archive.board_seen(serial="red-1", profile="practice")
    origin = Origin("board", "/dev/red", board_uuid=board.uuid, captures=2)
    archive.keep(name, content(text), origin, title="Tide clock")
    archive.keep(name, content(text + "|20 END"), origin)
    archive.note(name, "for the harbour evening")
    archive.tag(name, "harbour")
    archive.rescue(content("10 REM WAS HERE", raw=b"10 REM WAS HERE\r\n"), origin)


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[tuple[Archive, Archive]]:
    """Two archives that know nothing of each other."""
    with (
        Archive.open(tmp_path / "a.sqlite3") as ours,
        Archive.open(tmp_path / "b.sqlite3") as theirs,
    ):
        yield ours, theirs


def test_a_merge_brings_everything_and_a_second_brings_nothing(
    pair: tuple[Archive, Archive],
) -> None:
    """Revisions, rescues, notes, tags, boards and events come over once, proven."""
    ours, theirs = pair
    fill(theirs)
    merged = ours.merge_file(theirs.path)
    assert merged.added["revisions"] == 2
    assert everything(ours) == everything(theirs)
    assert ours.prove().clean
    assert not ours.merge_file(theirs.path).anything
    assert everything(ours) == everything(theirs)


def test_programs_of_one_name_stay_two_and_both_histories_stay(
    pair: tuple[Archive, Archive],
) -> None:
    """A name alone does not make two programs one; ours keeps the name, the other is shown
    with the beginning of its UUID."""
    ours, theirs = pair
    fill(ours, text='10 PRINT "OURS"')
    fill(theirs, text='10 PRINT "THEIRS"')
    uuid = theirs.program("TIDE").uuid
    merged = ours.merge_file(theirs.path)
    assert merged.renamed == {"TIDE": f"TIDE-{uuid[:5]}"}
    assert "OURS" in ours.content(ours.revision("TIDE")).text
    assert "THEIRS" in ours.content(ours.revision(f"TIDE-{uuid[:5]}")).text
    assert len(ours.history("TIDE")) == len(ours.history(f"TIDE-{uuid[:5]}")) == 2
    assert ours.prove().clean


def test_numbers_stay_those_of_the_archive_that_gave_them(tmp_path: Path) -> None:
    """Two copies of one archive go on separately and meet again: both have a third revision, and
    each can be named. Both tell the history in one order, that of time."""
    seconds = itertools.count()

    def now() -> datetime:
        return datetime(2031, 9, 3, tzinfo=UTC) + timedelta(seconds=next(seconds))

    with (
        Archive.open(tmp_path / "a.sqlite3", now=now) as ours,
        Archive.open(tmp_path / "b.sqlite3", now=now) as theirs,
    ):
        fill(ours)
        theirs.merge_file(ours.path)
        ours.keep("TIDE", content("10 PRINT 1"), Origin("file"))
        theirs.keep("TIDE", content("10 PRINT 2"), Origin("file"))
        ours.merge_file(theirs.path)
        assert ours.content(ours.revision("TIDE@3")).text == "10 PRINT 1\n"
        other = ours.revision(f"TIDE@3/{theirs.uuid[:8]}")
        assert ours.content(other).text == "10 PRINT 2\n"
        assert other.spec == f"TIDE@3/{theirs.uuid[:8]}"
        assert ours.revision("TIDE").uuid == other.uuid  # kept last
        theirs.merge_file(ours.path)
        order = [revision.uuid for revision in ours.history("TIDE")]
        assert order == [revision.uuid for revision in theirs.history("TIDE")]
        assert order[-1] == other.uuid
        assert ours.keep("TIDE", content("10 PRINT 3"), Origin("file")).revision.number == 4


def test_backups_of_both_archives_can_be_named(pair: tuple[Archive, Archive]) -> None:
    """Each archive has a first backup; after a merge the other's carries its archive's mark, where
    once both were called backup@1 and one could not be put back."""
    for archive, text in zip(pair, ("10 REM OURS", "10 REM THEIRS"), strict=True):
        board = archive.board_seen(serial=text)
        archive.keep_backup(
            board.uuid, [BackupItem("memory", content(text), 2)], profile="practice"
        )
    ours, theirs = pair
    ours.merge_file(theirs.path)
    marked = f"backup@1/{theirs.uuid[:8]}"
    assert {each.spec for each in ours.backups()} == {"backup@1", marked}
    for spec, text in (("backup@1", "10 REM OURS\n"), (marked, "10 REM THEIRS\n")):
        assert ours.backup(spec).items[0].content.text == text
    with pytest.raises(ArchiveError, match="names no backup"):
        ours.backup("backup@1/%")


def test_false_records_is_refused_whole(
    pair: tuple[Archive, Archive], held_records: Callable[..., Any]
) -> None:
    """The same UUID with other content, a missing listing and an unknown parent each refuse
    everything, and nothing of it stays."""
    ours, theirs = pair
    fill(theirs)
    ours.merge_file(theirs.path)
    before = everything(ours)

    changed = held_records(theirs)
    changed.held["revisions"][0]["number"] = 7
    missing = held_records(theirs)
    missing.listings.clear()
    fill(theirs, name="CLOCK", text="10 REM CLOCK")
    orphan = held_records(theirs)
    orphan.held["revisions"][-1]["parent"] = "12345678-1234-4234-8234-123456789abc"
    for records, why in ((changed, "other content"), (missing, "missing"), (orphan, "refers to")):
        with pytest.raises(ArchiveError, match=why):
            ours.merge(records)
        assert everything(ours) == before
    assert ours.prove().clean


def test_only_some_programs_or_only_what_is_new_can_go(
    pair: tuple[Archive, Archive], held_records: Callable[..., Any]
) -> None:
    """A selection takes its programs and no rescues; what is newer needs the earlier export."""
    ours, theirs = pair
    fill(theirs)
    fill(theirs, name="MORSE", text="10 REM MORSE")
    ours.merge(held_records(theirs, programs=("MORSE",)))
    assert [program.name for program in ours.programs()] == ["MORSE"]
    assert ours.rescues() == []
    assert ours.program("MORSE").note == "for the harbour evening"
    later = held_records(theirs, since="9999-01-01T00:00:00.000Z")
    for table in ("revisions", "rescues", "notes", "events", "backups", "firmware_writes"):
        assert later.held[table] == []
    theirs.keep("TIDE", content("10 REM NEWER"), Origin("file"))
    newest = held_records(theirs)
    newest.held["revisions"] = newest.held["revisions"][-1:]
    with pytest.raises(ArchiveError, match="refers to revisions") as caught:
        ours.merge(newest)
    assert "import the earlier ones first" in caught.value.advice


def test_an_incremental_export_without_the_earlier_one_is_refused(
    pair: tuple[Archive, Archive], held_records: Callable[..., Any]
) -> None:
    """It names programs whose revisions are in the earlier export; alone it once left programs
    that had no revision and were shown nowhere."""
    ours, theirs = pair
    fill(theirs)
    first, later = held_records(theirs), held_records(theirs, since="9999-01-01T00:00:00.000Z")
    with pytest.raises(ArchiveError, match="TIDE without its revisions") as refused:
        ours.merge(later)
    assert "earlier ones first" in refused.value.advice
    assert ours.programs(retired=None) == [] and ours.prove().clean
    ours.merge(first)
    assert not ours.merge(later).anything


def test_another_archive_file_is_taken_in(pair: tuple[Archive, Archive]) -> None:
    """A file can be merged as it is; it is only read."""
    ours, theirs = pair
    fill(theirs)
    theirs.close()
    before = theirs.path.read_bytes()
    assert ours.merge_file(theirs.path).added["revisions"] == 2
    assert theirs.path.read_bytes() == before


def test_a_retirement_lasts_until_the_program_is_used_again(tmp_path: Path) -> None:
    """An older copy does not undo it; bringing the program back does, and so does a revision that
    the other archive kept later; the next retirement counts again."""
    seconds = itertools.count()

    def now() -> datetime:
        return datetime(2031, 9, 3, 18, tzinfo=UTC) + timedelta(seconds=next(seconds))

    with (
        Archive.open(tmp_path / "a.sqlite3", now=now) as ours,
        Archive.open(tmp_path / "b.sqlite3", now=now) as theirs,
    ):
        fill(theirs)
        ours.merge_file(theirs.path)

        def both() -> tuple[bool, bool]:
            ours.merge_file(theirs.path)
            theirs.merge_file(ours.path)
            return ours.program("TIDE").retired, theirs.program("TIDE").retired

        ours.retire("TIDE")
        assert both() == (True, True)
        theirs.bring_back("TIDE")
        assert both() == (False, False)
        ours.retire("TIDE")
        theirs.keep("TIDE", content("10 REM LATER"), Origin("file", "x.bas"))
        assert both() == (False, False)
        ours.retire("TIDE")
        assert ours.keep("TIDE", content("10 REM LATER"), Origin("file", "x.bas")).is_new is False
        assert both() == (False, False)
        ours.retire("TIDE")
        assert both() == (True, True)


def test_what_a_merge_retires_is_named(tmp_path: Path) -> None:
    """Who works with a program here learns that it was retired there; once."""
    with (
        Archive.open(tmp_path / "a.sqlite3") as ours,
        Archive.open(tmp_path / "b.sqlite3") as theirs,
    ):
        fill(theirs)
        ours.merge_file(theirs.path)
        theirs.retire("TIDE")
        assert ours.merge_file(theirs.path).retired == ("TIDE",)
        assert ours.merge_file(theirs.path).retired == ()
        ours.bring_back("TIDE")
        assert ours.merge_file(theirs.path).retired == ()


def test_a_retirement_is_in_order_whatever_the_clock_says(tmp_path: Path) -> None:
    """The clock was put back by a year between the changes: what came later has the later time."""
    moments = [datetime(2031, 9, 3, 18, tzinfo=UTC)] * 4 + [datetime(2030, 9, 3, tzinfo=UTC)] * 9
    with (
        Archive.open(tmp_path / "ours.sqlite3", now=iter(moments).__next__) as ours,
        Archive.open(tmp_path / "theirs.sqlite3") as theirs,
    ):
        ours.keep("TIDE", content("10 REM A"), Origin("file", "x.bas"))
        theirs.merge_file(ours.path)
        for change in (ours.retire, ours.bring_back, ours.retire):
            change("TIDE")
        theirs.merge_file(ours.path)
        assert theirs.program("TIDE").retired
        ours.merge_file(theirs.path)
        assert ours.program("TIDE").retired
        told = [event.started_at for event in reversed(ours.events(program="TIDE"))]
        assert len(set(told)) == 3
        assert told == sorted(told)


def test_a_program_retired_in_the_moment_it_was_kept_is_retired(tmp_path: Path) -> None:
    """Two times that are the same: nobody used it since."""
    noon = datetime(2031, 9, 3, 12, tzinfo=UTC)
    with (
        Archive.open(tmp_path / "ours.sqlite3", now=lambda: noon) as ours,
        Archive.open(tmp_path / "theirs.sqlite3") as theirs,
    ):
        ours.keep("TIDE", content("10 REM A"), Origin("file", "x.bas"))
        theirs.merge_file(ours.path)
        ours.retire("TIDE")
        theirs.merge_file(ours.path)
        assert theirs.program("TIDE").retired


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["keep", "rescue", "note", "tag", "untag", "retire", "return", "merge"]),
        st.integers(0, 1),
        st.sampled_from(NAMES),
        st.integers(0, 5),
    ),
    max_size=10,
)


@pytest.mark.slow
@settings(max_examples=15)
@given(steps=STEPS)
def test_merging_is_commutative_and_idempotent_and_loses_nothing(
    steps: list[tuple[str, int, str, int]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """However two archives lived, with merges on the way: A with B holds what B with A holds, a
    second merge changes nothing, and no revision of either is missing."""
    folder = tmp_path_factory.mktemp("merging")
    archives = [Archive.open(folder / "0.sqlite3"), Archive.open(folder / "1.sqlite3")]
    for job, which, name, number in steps:
        live(archives[which], archives[1 - which], job, name, number)
    paths = [archive.path for archive in archives]
    for archive in archives:
        archive.close()
    copies = [folder / "01.sqlite3", folder / "10.sqlite3"]
    shutil.copy(paths[0], copies[0])
    shutil.copy(paths[1], copies[1])
    with Archive.open(copies[0]) as one, Archive.open(copies[1]) as two:
        with Archive.open(paths[0]) as first, Archive.open(paths[1]) as second:
            alone = [everything(first)["revisions"], everything(second)["revisions"]]
            one.merge_file(second.path)
            two.merge_file(first.path)
            assert everything(one) == everything(two)
            assert everything(one)["revisions"] == alone[0] | alone[1]  # type: ignore[operator]
            after = everything(one)
            one.merge_file(second.path)
            one.merge_file(two.path)
            assert everything(one) == after
        assert one.prove().clean
        assert two.prove().clean
    shutil.rmtree(folder)


def live(archive: Archive, other: Archive, job: str, name: str, number: int) -> None:
    """One step in the life of an archive; a step that has nothing to work on is passed over."""
    known = {program.name for program in archive.programs(retired=None)}
    if job == "keep":
        archive.keep(name, content(f"{number + 1} REM {name}"), Origin("file", "x.bas"))
    elif job == "rescue":
        archive.rescue(content(f"{number + 1} REM HELD"), Origin("rescue"))
    elif job == "merge":
        archive.merge_file(other.path)
    elif name in known:
        if job == "note":
            archive.note(name, f"note {number}")
        elif job == "tag":
            archive.tag(name, f"tag{number}")
        elif job == "untag":
            archive.untag(name, f"tag{number}")
        elif job == "retire":
            archive.retire(name)
        else:
            archive.bring_back(name)


def test_a_shipped_program_is_one_program_wherever_it_was_first_kept(
    pair: tuple[Archive, Archive],
) -> None:
    """Two laptops each loaded it and went on with it: after a merge it is one program with the
    revisions of both, and its name stays."""
    ours, theirs = pair
    for archive in pair:
        archive.keep("HAIL", content("10 REM HAIL"), Origin("library", "HAIL"), title="Hailstone")
    theirs.keep("HAIL", content("10 REM CHANGED"), Origin("edit"))
    merged = ours.merge_file(theirs.path)
    theirs.merge_file(ours.path)
    assert merged.renamed == {}
    for archive in pair:
        assert [one.name for one in archive.programs()] == ["HAIL"]
        assert sorted(one.number for one in archive.history("HAIL")) == [1, 1, 2]
        assert archive.content(archive.revision("HAIL")).text == "10 REM CHANGED\n"
        assert archive.prove().clean


def test_a_program_of_ones_own_is_no_shipped_one(pair: tuple[Archive, Archive]) -> None:
    """One's own HAIL keeps its name; the shipped one that comes is shown as another, and where it
    is loaded later it goes to the program that has its name."""
    ours, theirs = pair
    ours.keep("HAIL", content("10 REM MINE"), Origin("file", "hail.bas"))
    theirs.keep("HAIL", content("10 REM HAIL"), Origin("library", "HAIL"))
    theirs.keep("FOO", content("10 REM HAIL"), Origin("library", "HAIL"))
    assert theirs.program("FOO").uuid != theirs.program("HAIL").uuid
    (shown,) = ours.merge_file(theirs.path).renamed.values()
    assert shown.startswith("HAIL-")
    assert ours.keep("HAIL", content("10 REM H"), Origin("library", "HAIL")).revision.number == 2
    assert ours.prove().clean


def test_a_shipped_program_shown_under_another_name_is_found_by_its_identity(
    tmp_path: Path, pair: tuple[Archive, Archive], held_records: Callable[..., Any]
) -> None:
    """It came from an archive where its name was taken; loading it here adds to it."""
    ours, theirs = pair
    ours.keep("HAIL", content("10 REM MINE"), Origin("file", "hail.bas"))
    theirs.keep("HAIL", content("10 REM HAIL"), Origin("library", "HAIL"))
    (shown,) = ours.merge_file(theirs.path).renamed.values()
    with Archive.open(tmp_path / "third.sqlite3") as third:
        third.merge(held_records(ours, programs=(shown,)))
        kept = third.keep("HAIL", content("10 REM H"), Origin("library", "HAIL")).revision
        assert kept.spec == f"{shown}@2"
        assert third.prove().clean
