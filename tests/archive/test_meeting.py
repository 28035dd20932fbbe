"""Where two archives have the same thing: rules 4 and 5 of hostlink/archive/exchange/merging.py."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.errors import ArchiveError


def content(text: str) -> Content:
    return Content(text.encode(), text, text, "practice", "latin-1", len(text))


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[tuple[Archive, Archive]]:
    """Two archives that know nothing of each other, by one clock that never stands still."""
    seconds = itertools.count()

    def now() -> datetime:
        return datetime(2031, 5, 1, tzinfo=UTC) + timedelta(seconds=next(seconds))

    with (
        Archive.open(tmp_path / "a.sqlite3", now=now) as ours,
        Archive.open(tmp_path / "b.sqlite3", now=now) as theirs,
    ):
        yield ours, theirs


def both_ways(ours: Archive, theirs: Archive) -> None:
    """Each takes in what the other had before."""
    with ours.records() as mine, theirs.records() as other:
        assert ours.merge(other).anything
        theirs.merge(mine)


def test_a_program_that_both_have_has_the_longer_title(pair: tuple[Archive, Archive]) -> None:
    """The answer is the same on both sides, whoever asks first; and it is found by it."""
    ours, theirs = pair
    ours.keep("TIDE", content("10 A\n"), Origin("file"), title="Sea")
    theirs.merge_file(ours.path)
    theirs.keep("TIDE", content("10 B\n"), Origin("file"), title="Tide clock")
    ours.keep("MOON", content("10 C\n"), Origin("file"))
    both_ways(ours, theirs)
    for archive in pair:
        assert archive.program("TIDE").title == "Tide clock"
        assert [each.item.program for each in archive.find("clock")] == ["TIDE"]


def test_of_two_revisions_with_one_number_the_later_is_the_latest(
    pair: tuple[Archive, Archive],
) -> None:
    """Both archives kept a second TIDE; what the earlier one holds is found as an older revision,
    after a program whose latest revision holds it."""
    ours, theirs = pair
    ours.keep("TIDE", content("10 A\n"), Origin("file"))
    theirs.merge_file(ours.path)
    ours.keep("DICE", content("10 EBB\n"), Origin("file"))
    ours.keep("TIDE", content("10 EBB\n20 B\n"), Origin("file"))
    theirs.keep("TIDE", content("10 FLOOD\n"), Origin("file"))
    assert [each.item.spec for each in ours.find("ebb")] == ["TIDE@2", "DICE@1"]
    ours.merge_file(theirs.path)
    assert [each.item.spec for each in ours.find("ebb")] == ["DICE@1", "TIDE@2"]


@pytest.mark.parametrize(
    ("question", "options"),
    [
        ("tide", {}),
        ("ebb", {}),
        ("tide ebb", {}),
        ("", {"tag": "sea"}),
        ("", {"size": (1, 99)}),
        ("ebb", {"size": (1, 99)}),
        ("", {"board": "Red"}),
    ],
)
def test_an_older_revision_that_arrived_later_is_not_shown_for_the_program(
    pair: tuple[Archive, Archive], question: str, options: dict[str, Any]
) -> None:
    """The other archive's is in a later row of the table, but was kept before."""
    ours, theirs = pair
    board = ours.board_seen(location="practice://red")
    ours.board_label(board.uuid, "Red")
    red = Origin("board", "Red", board.uuid)
    ours.keep("TIDE", content("10 X\n"), red)
    theirs.merge_file(ours.path)
    theirs.keep("TIDE", content("10 EBB\n20 OLD\n"), red)
    first = ours.keep("TIDE", content("10 EBB\n20 A\n"), red).revision
    ours.keep("TIDE", content("10 EBB\n20 B\n"), red)
    ours.keep("TIDE", ours.content(first), red)  # the listing is an older one too
    ours.tag("TIDE", "sea")
    ours.merge_file(theirs.path)
    assert len(ours.history("TIDE")) == 5
    assert [each.item.spec for each in ours.find(question, **options)] == ["TIDE@4"]


def test_an_event_that_ended_in_one_has_ended_in_both(pair: tuple[Archive, Archive]) -> None:
    """What was cut off here and went on there is told by its end; an end is never taken away."""
    ours, theirs = pair
    uuid = ours.begin_event("load")
    theirs.merge_file(ours.path)
    theirs.end_event(uuid, "done", detail={"lines": 3})
    with ours.records() as begun, theirs.records() as ended:
        ours.merge(ended)
        theirs.merge(begun)
    for archive in pair:
        (event,) = archive.events()
        assert (event.outcome, event.detail, event.ended_at is None) == (
            "done", {"lines": 3}, False,
        )  # fmt: skip
        assert archive.prove().clean


def test_a_write_of_firmware_that_ended_in_one_has_ended_in_both(
    pair: tuple[Archive, Archive],
) -> None:
    """As with events: its end is told, wherever it was noted."""
    ours, theirs = pair
    board = ours.board_seen(serial="red-1").uuid
    image = ours.keep_image(b"\x01\x02", part="ATmega328P")
    write = ours.begin_write(board, image, previous=None, role="computer", part="ATmega328P")
    theirs.merge_file(ours.path)
    theirs.end_write(write, "done", banner="HELLO")
    with ours.records() as begun, theirs.records() as ended:
        ours.merge(ended)
        theirs.merge(begun)
    for archive in pair:
        (held,) = archive.writes()
        assert (held.outcome, held.banner, held.is_finished) == ("done", "HELLO", True)
        assert archive.prove().clean


def test_what_is_new_finds_what_came_before(
    pair: tuple[Archive, Archive], held_records: Callable[..., Any]
) -> None:
    """A revision that comes alone is made from one that an earlier merge brought."""
    ours, theirs = pair
    theirs.keep("TIDE", content("10 A\n"), Origin("file"))
    ours.merge_file(theirs.path)
    later = theirs.keep("TIDE", content("10 B\n"), Origin("file")).revision
    newest = held_records(theirs)
    newest.held["revisions"] = [
        each for each in newest.held["revisions"] if each["uuid"] == later.uuid
    ]
    assert ours.merge(newest).added["revisions"] == 1
    history = ours.history("TIDE")
    assert history[1].parent.partition("/")[0] == "TIDE@1"


def test_a_board_is_the_same_by_its_serial_number_and_else_another(
    pair: tuple[Archive, Archive],
) -> None:
    """A place says nothing on another computer; a label that is taken gets a mark."""
    ours, theirs = pair
    for archive, label in ((ours, "Red"), (theirs, "Crimson")):
        board = archive.board_seen(vid=1, pid=2, serial="S1")
        archive.board_label(board.uuid, label)
        archive.rescue(content("10 S\n"), Origin("rescue", board_uuid=board.uuid))
    for archive in pair:
        board = archive.board_seen(location="usb 1")
        archive.board_label(board.uuid, "Table 1")
        archive.rescue(content("10 L\n"), Origin("rescue", board_uuid=board.uuid))
    stranger = next(each for each in theirs.boards() if each.label == "Table 1")
    ours.merge_file(theirs.path)
    found = {each.label: each for each in ours.boards()}
    marked = f"Table 1 {stranger.uuid[:5]}"
    assert set(found) == {"Red", "Table 1", marked}
    assert found[marked].location == f"elsewhere ({stranger.uuid[:8]}): usb 1"
    assert found["Table 1"].location == "usb 1"
    assert ours.board(marked.upper()).uuid == stranger.uuid
    assert len(ours.rescues(board_uuid=found["Red"].uuid)) == 2


def test_firmware_of_the_same_bytes_is_one_image(pair: tuple[Archive, Archive]) -> None:
    """Both read the same flash; what was written there is told with our image."""
    ours, theirs = pair
    for archive, name in ((ours, "one"), (theirs, "other")):
        board = archive.board_seen(serial=name)
        image = archive.keep_image(b"\x0c\x94" * 8, name=name)
        archive.begin_write(board.uuid, image, previous=image, role="computer", part="")
    ours.merge_file(theirs.path)
    assert {write.image.name for write in ours.writes()} == {"one"}
    assert len(ours.writes()) == 2 and ours.prove().clean


def test_the_same_thing_with_other_content_is_refused_by_its_name(
    pair: tuple[Archive, Archive], held_records: Callable[..., Any]
) -> None:
    """A note or an archive of one UUID cannot say two things; which kind it was is told."""
    ours, theirs = pair
    theirs.keep("TIDE", content("10 A\n"), Origin("file"))
    theirs.note("TIDE", "slow")
    ours.merge_file(theirs.path)
    for table, column in (("notes", "text"), ("archives", "made_by")):
        records = held_records(theirs)
        records.held[table][0][column] = "something else"
        with pytest.raises(ArchiveError, match=f"one of its {table} is here with other content"):
            ours.merge(records)
    write = held_records(theirs)
    write.held["revisions"][0]["note"] = "another"
    with pytest.raises(ArchiveError, match="one of its revisions is here"):
        ours.merge(write)


def test_an_event_that_began_otherwise_is_refused(
    pair: tuple[Archive, Archive], held_records: Callable[..., Any]
) -> None:
    """Its end may come from elsewhere; what job it is of, and when it began, is known."""
    ours, theirs = pair
    uuid = ours.begin_event("load")
    theirs.merge_file(ours.path)
    theirs.end_event(uuid, "done")
    for column, value in (("job", "save"), ("started_at", "2031-01-01T00:00:00.000Z")):
        records = held_records(theirs)
        records.held["events"][0][column] = value
        with pytest.raises(ArchiveError, match="one of its events is here with other content"):
            ours.merge(records)
    assert ours.events()[0].ended_at is None
