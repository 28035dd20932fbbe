"""Two copies of one archive that both went on: rules of hostlink/archive/exchange/copies.py."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.archive import Archive, BackupItem, Content, Origin
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
FILE = Origin("file")


def _clock() -> Callable[[], datetime]:
    """A clock that never stands still."""
    seconds = itertools.count()
    return lambda: datetime(2031, 9, 3, tzinfo=UTC) + timedelta(seconds=next(seconds))


@pytest.fixture
def pair(tmp_path: Path, content: MakeContent) -> Iterator[tuple[Archive, Archive]]:
    """An archive with TIDE@1, and a duplicate of it, by one clock."""
    now = _clock()
    with Archive.open(tmp_path / "a.sqlite3", now=now) as ours:
        ours.keep("TIDE", content("10 REM A\n"), FILE)
        ours.duplicate(tmp_path / "b.sqlite3")
        with Archive.open(tmp_path / "b.sqlite3", now=now) as theirs:
            assert ours.uuid == theirs.uuid
            yield ours, theirs


def texts(archive: Archive, name: str = "TIDE") -> dict[str, str]:
    """What each revision of a program holds, by how a person names it."""
    return {one.spec: archive.content(one).text.strip() for one in archive.history(name)}


def test_both_went_on_and_nothing_of_either_is_lost(
    pair: tuple[Archive, Archive], content: MakeContent
) -> None:
    """Each keeps its own numbers; what comes is named by a copy of the archive, and so is what
    follows it, so that nobody takes it for the next of ours. It once was refused whole."""
    ours, theirs = pair
    ours.keep("TIDE", content("10 REM OURS\n"), FILE)
    theirs.keep("TIDE", content("10 REM THEIRS\n"), FILE)
    theirs.keep("TIDE", content("10 REM THEIRS TOO\n"), FILE)
    merged = ours.merge_file(theirs.path)
    (copy,) = merged.copies
    mark = copy[:8]
    assert texts(ours) == {
        "TIDE@1": "10 REM A",
        "TIDE@2": "10 REM OURS",
        f"TIDE@2/{mark}": "10 REM THEIRS",
        f"TIDE@3/{mark}": "10 REM THEIRS TOO",
    }
    assert ours.revision(f"TIDE@3/{mark}").parent == f"TIDE@2/{mark}"  # type: ignore[union-attr]
    assert ours.keep("TIDE", content("10 REM MORE\n"), FILE).revision.spec == "TIDE@4"
    assert ours.prove().findings == ()
    assert not ours.merge_file(theirs.path).anything
    with ours.reading("the archives") as db:
        assert db.execute("SELECT count(*) FROM archives").fetchone()[0] == 2


def test_they_go_on_and_meet_again_and_again(
    pair: tuple[Archive, Archive], content: MakeContent
) -> None:
    """Each takes in the other at any time; what one has under its own number and the other under a
    copy's is known to be the same, and both tell one history."""
    ours, theirs = pair
    for turn in range(3):
        for archive, who in ((ours, "OURS"), (theirs, "THEIRS")):
            archive.keep("TIDE", content(f"10 REM {who} {turn}\n"), FILE)
        ours.merge_file(theirs.path)
        theirs.merge_file(ours.path)
        assert [one.uuid for one in ours.history("TIDE")] == [
            one.uuid for one in theirs.history("TIDE")
        ]
    assert len(ours.history("TIDE")) == 7
    for archive in pair:
        assert archive.prove().findings == ()
        assert sorted(texts(archive).values()) == sorted(texts(ours).values())


def test_rescues_and_backups_are_numbered_by_the_copy_too(
    pair: tuple[Archive, Archive], content: MakeContent
) -> None:
    """Both have a rescue 1 and a backup 1; both can be named afterwards."""
    for archive, who in zip(pair, ("OURS", "THEIRS"), strict=True):
        board = archive.board_seen(serial="red-1")
        archive.rescue(content(f"10 REM {who}\n"), Origin("rescue", board_uuid=board.uuid))
        items = [BackupItem("memory", content(f"20 REM {who}\n"), 2)]
        archive.keep_backup(board.uuid, items, profile="practice")
    ours, theirs = pair
    (copy,) = ours.merge_file(theirs.path).copies
    rescue = ours.revision(f"rescue@1/{copy[:8]}")
    assert ours.content(rescue).text == "10 REM THEIRS\n"
    assert ours.content(ours.revision("rescue@1")).text == "10 REM OURS\n"
    assert ours.backup(f"backup@1/{copy[:8]}").items[0].content.text == "20 REM THEIRS\n"
    assert ours.backup("backup@1").items[0].content.text == "20 REM OURS\n"
    assert ours.prove().findings == ()


def test_an_earlier_state_of_ours_brings_nothing_and_gets_everything(
    pair: tuple[Archive, Archive], content: MakeContent
) -> None:
    """A duplicate that did not go on is no second line: the numbers stay plain."""
    ours, theirs = pair
    ours.keep("TIDE", content("10 REM B\n"), FILE)
    assert not ours.merge_file(theirs.path).anything
    assert theirs.merge_file(ours.path).copies == ()
    assert list(texts(theirs)) == ["TIDE@1", "TIDE@2"]


def test_three_copies_meet_in_any_order(
    pair: tuple[Archive, Archive], tmp_path: Path, content: MakeContent
) -> None:
    """A third archive, and a third copy, hear of the same revisions by several ways."""
    ours, theirs = pair
    ours.duplicate(tmp_path / "c.sqlite3")
    with (
        Archive.open(tmp_path / "c.sqlite3") as third,
        Archive.open(tmp_path / "d.sqlite3") as stranger,
    ):
        copies = (ours, theirs, third)
        for number, archive in enumerate(copies):
            archive.keep("TIDE", content(f"10 REM {number}\n"), FILE)
        for one, other in itertools.permutations(copies, 2):
            one.merge_file(other.path)
        for archive in copies:
            stranger.merge_file(archive.path)
        for archive in (*copies, stranger):
            held = texts(archive)
            assert sorted(held.values()) == ["10 REM 0", "10 REM 1", "10 REM 2", "10 REM A"]
            assert archive.prove().findings == ()
            for other in (*copies, stranger):
                assert not archive.merge_file(other.path).anything
            assert texts(archive) == held


def test_a_row_that_is_damaged_here_is_healed_by_a_copy_that_numbers_it_otherwise(
    pair: tuple[Archive, Archive], content: MakeContent
) -> None:
    """The healed revision keeps the number by which it is known here."""
    ours, theirs = pair
    ours.keep("TIDE", content("10 REM OURS\n"), FILE)
    theirs.keep("TIDE", content("10 REM THEIRS\n"), FILE)
    ours.merge_file(theirs.path)
    theirs.merge_file(ours.path)
    before = texts(ours)
    with ours.writing("damage") as db:
        (rule,) = db.execute(
            "SELECT sql FROM sqlite_master WHERE name = 'revisions_never_change'"
        ).fetchone()
        db.execute("DROP TRIGGER revisions_never_change")
        db.execute("UPDATE revisions SET note = 'x' WHERE number = 2")
        db.execute(rule)
    assert not ours.prove().clean
    assert len(ours.merge_file(theirs.path).healed) == 2
    assert texts(ours) == before and ours.prove().findings == ()


def test_more_copies_than_anybody_has_are_refused_whole(
    pair: tuple[Archive, Archive], held_records: Callable[..., object]
) -> None:
    """False records cannot fill the archive with names of copies."""
    ours, theirs = pair
    records = held_records(theirs)
    (only,) = records.held["revisions"]  # type: ignore[attr-defined]
    records.held["revisions"] = [  # type: ignore[attr-defined]
        {**only, "uuid": f"00000000-0000-4000-8000-{turn:012}"} for turn in range(60)
    ]
    with pytest.raises(ArchiveError, match="copies of one archive gave the same number"):
        ours.merge(records)  # type: ignore[arg-type]
    assert list(texts(ours)) == ["TIDE@1"] and ours.prove().findings == ()


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["keep", "rescue", "merge"]),
        st.integers(0, 2),
        st.sampled_from(["TIDE", "MORSE"]),
        st.integers(0, 5),
    ),
    max_size=12,
)


@pytest.mark.slow
@settings(max_examples=15)
@given(steps=STEPS)
def test_copies_that_live_on_hold_the_same_after_meeting(
    steps: list[tuple[str, int, str, int]],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """However three copies went on, with merges on the way: in the end each holds every revision
    and every rescue of all, and is proven clean."""
    folder, now = tmp_path_factory.mktemp("copies"), _clock()
    with Archive.open(folder / "0.sqlite3", now=now) as first:
        first.keep("TIDE", Content(b"1\n", "1\n", "1\n", "practice", "latin-1"), FILE)
        for copy in "12":
            first.duplicate(folder / f"{copy}.sqlite3")
    copies = [Archive.open(folder / f"{copy}.sqlite3", now=now) for copy in "012"]
    for job, which, name, number in steps:
        archive, text = copies[which], f"{number + 1} REM {name}\n"
        held = Content(text.encode(), text, text, "practice", "latin-1")
        if job == "keep":
            archive.keep(name, held, FILE)
        elif job == "rescue":
            archive.rescue(held, Origin("rescue"))
        else:
            archive.merge_file(copies[(which + 1 + number % 2) % 3].path)
    for one, other in itertools.permutations(copies, 2):
        one.merge_file(other.path)
    told = [
        (
            sorted(one.uuid for each in archive.programs() for one in archive.history(each.name)),
            sorted(one.uuid for one in archive.rescues()),
        )
        for archive in copies
    ]
    assert told[0] == told[1] == told[2]
    for archive in copies:
        assert archive.prove().findings == ()
        archive.close()
