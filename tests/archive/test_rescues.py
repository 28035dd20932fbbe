"""Rescues."""

from __future__ import annotations

from collections.abc import Callable

from hostlink.archive import Archive, Content, Origin

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
    """Where the program is known the rescue is listed with it."""
    archive.keep("TIDE", content("10 A\n"), from_file)
    rescue = archive.rescue(content("10 B\n"), Origin("rescue"), program="tide")
    archive.rescue(content("10 C\n"), Origin("rescue"))
    assert rescue.program == "TIDE"
    assert archive.rescues(program="TIDE") == [rescue]


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
