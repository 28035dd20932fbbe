"""Rescues."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


def test_rescues_are_numbered_and_listed_newest_first(
    archive: Archive, content: MakeContent
) -> None:
    """All rescues count up together; each board's are found by themselves."""
    red = archive.board_seen(location="practice://red")
    blue = archive.board_seen(location="practice://blue")
    first = archive.rescue(content("10 A\n"), Origin("rescue", board_uuid=red.uuid))
    second = archive.rescue(content("10 B\n"), Origin("rescue", board_uuid=blue.uuid))
    third = archive.rescue(content("10 C\n"), Origin("rescue", board_uuid=red.uuid))
    assert [one.spec for one in (first, second, third)] == ["rescue@1", "rescue@2", "rescue@3"]
    assert archive.rescues() == [third, second, first]
    assert archive.rescues(board_uuid=red.uuid, limit=1) == [third]
    assert archive.newest_rescue(blue.uuid) == second


def test_a_board_without_rescues_has_none(archive: Archive) -> None:
    """No rescue is None, not an error."""
    board = archive.board_seen(location="practice://red")
    assert archive.newest_rescue(board.uuid) is None


def test_a_rescue_may_belong_to_a_program(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """Where the program is known the rescue names it."""
    archive.keep("TIDE", content("10 A\n"), from_file)
    rescue = archive.rescue(content("10 B\n"), Origin("rescue"), program="tide")
    other = archive.rescue(content("10 C\n"), Origin("rescue"))
    assert rescue.program == "TIDE"
    assert archive.rescues() == [other, rescue]


def test_an_unknown_board_or_program_never_stops_a_rescue(
    archive: Archive, content: MakeContent
) -> None:
    """What would be lost is kept even if nobody knows whose it is."""
    rescue = archive.rescue(
        content("10 A\n"), Origin("rescue", board_uuid="gone"), program="NEVER KEPT"
    )
    assert (rescue.program, rescue.origin.board_uuid) == ("", None)
    assert archive.content(rescue).text == "10 A\n"


def test_each_rescue_is_in_the_record(archive: Archive, content: MakeContent) -> None:
    """A rescue and its event are kept together."""
    board = archive.board_seen(location="practice://red")
    rescue = archive.rescue(content("10 A\n"), Origin("rescue", board_uuid=board.uuid))
    (event,) = archive.events()
    assert (event.job, event.rescue, event.board_uuid, event.outcome) == (
        "rescue",
        rescue.spec,
        board.uuid,
        "done",
    )


def test_rescues_of_a_board_leave_out_those_of_others(
    archive: Archive, content: MakeContent
) -> None:
    """Its own are listed, newest first, whatever program they belong to."""
    red, blue = (archive.board_seen(location=f"practice://{name}") for name in ("red", "blue"))
    archive.keep("TIDE", content("10 A\n"), Origin("file"))
    archive.keep("LAMP", content("10 B\n"), Origin("file"))
    for number, (board, program) in enumerate(
        [(red, "TIDE"), (red, "LAMP"), (blue, "TIDE"), (red, "TIDE")], 1
    ):
        text = content(f"10 REM {number}\n")
        archive.rescue(text, Origin("rescue", board_uuid=board.uuid), program=program)
    found = archive.rescues(board_uuid=red.uuid)
    assert [rescue.number for rescue in found] == [4, 2, 1]


def test_a_rescue_that_cannot_be_kept_says_so(archive: Archive, content: MakeContent) -> None:
    """What it was is named, whether the text cannot be stored or the archive cannot be written."""
    half = Content(b"x", "10 REM \ud800\n", "10 REM\n", "practice", "latin-1")
    with pytest.raises(ArchiveError, match=r"half of a character pair \(U\+D800\)") as refused:
        archive.rescue(half, Origin("rescue"))
    assert "right character set" in refused.value.advice
    assert archive.rescues() == []
    with (
        Archive.open(archive.path, read_only=True) as shut,
        pytest.raises(ArchiveError, match=r"^The rescue of what was on the board was not kept"),
    ):
        shut.rescue(content("10 A\n"), Origin("rescue"))
    with archive.writing("x") as db:
        db.execute("PRAGMA legacy_alter_table = ON")
        db.execute("ALTER TABLE rescues RENAME TO lost")
    with pytest.raises(ArchiveError, match=r"^The rescues could not be read"):
        archive.rescues()
