"""`hostlink find`, narrowed by board and size."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from hostlink.archive import Archive, Content, Origin


@pytest.fixture(autouse=True)
def filled(archive: Archive) -> None:
    """Three programs of 100, 500 and 900 bytes, the last from a board."""
    board = archive.board_seen(location="practice://red")
    archive.board_label(board.uuid, "Red")
    for name, size in (("SMALL", 100), ("MIDDLE", 500), ("LARGE", 900)):
        text = f'10 PRINT "{name}"\n20 GOSUB 900\n'
        origin = Origin("board", "Red", board.uuid) if name == "LARGE" else Origin("file")
        archive.keep(name, Content(text.encode(), text, text, "practice", "utf-8", size), origin)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["--size", "400-999"], ["LARGE", "MIDDLE"]),
        (["--size", "500"], ["MIDDLE"]),
        (["--size", "-500"], ["MIDDLE", "SMALL"]),
        (["--size", "501-"], ["LARGE"]),
        (["--size", "501-899"], []),
        (["gosub", "--size", "100-500"], ["MIDDLE", "SMALL"]),
        (["large", "--size", "100-500"], []),
        (["--board", "red"], ["LARGE"]),
        (["gosub900", "--board", "RED", "--size", "900"], ["LARGE"]),
    ],
)
def test_size_and_board_narrow_or_choose_alone(
    hostlink: Callable, words: list[str], found: list[str]
) -> None:
    """A range in bytes, open at either end, or one size; a board by its label."""
    told = hostlink("find", *words, "--json")
    assert told.status == 0
    assert [each["program"] for each in told.json] == found


@pytest.mark.parametrize("size", ["x", "-", "", "5-4", "1-2-3", "1e3", "9999999999"])
def test_what_is_no_size_is_told(hostlink: Callable, size: str) -> None:
    """A mistyped size is wrong use, and what is right is shown."""
    told = hostlink("find", "--size", size)
    assert told.status == 2
    assert "--size" in told.err and ("400-999" in told.err or "more bytes" in told.err)


def test_nothing_to_look_for_is_told(hostlink: Callable) -> None:
    """Without words or anything that chooses there is nothing to find."""
    told = hostlink("find")
    assert told.status == 2
    assert "--tag, --board or --size" in told.err
