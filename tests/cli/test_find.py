"""`hostlink find`, narrowed by board and size."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime

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


@pytest.mark.parametrize("size", ["x", "-", "", "5-4", "1-2-3", "1e3", "9999999999", "1" * 18])
def test_what_is_no_size_is_told(hostlink: Callable, size: str) -> None:
    """A mistyped size is wrong use, and what is right is shown; two long halves are no range."""
    told = hostlink("find", "--size", size)
    assert told.status == 2
    right = "the first one is larger" if size == "5-4" else "write 400-999"
    assert "--size" in told.err and right in told.err


@pytest.fixture
def years(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two revisions of one program and a rescue from other years, one for another kind of board."""

    def keep(day: str, profile: str, text: str, *, rescue: bool = False) -> None:
        monkeypatch.setattr(archive, "_now", lambda: datetime.fromisoformat(day).astimezone())
        held = Content(text.encode(), text, text, profile, "utf-8", 700)
        if rescue:
            archive.rescue(held, Origin("rescue", "Red", archive.boards()[0].uuid))
        else:
            archive.keep("OLD", held, Origin("file"))

    keep("2029-12-31T23:59:59", "practice", "10 REM LANTERN\n")
    keep("2031-11-05T08:00:00", "green", "10 REM LANTERN AGAIN\n")
    keep("2031-11-30T23:59:00", "practice", "10 REM LANTERN LOST\n", rescue=True)


@pytest.mark.usefixtures("years")
@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["--from", "2029", "--until", "2029"], ["OLD@1"]),
        (["--until", "2029-12-30"], []),
        (["--until", "2029-12-31"], ["OLD@1"]),
        (["--from", "2030", "--until", "2031-10"], []),
        (["--since", "2031-11", "--until", "2031-11"], ["OLD@2", "rescue@1"]),
        (["lantern", "--from", "2031-11-06", "--until", "2031-11-30"], ["rescue@1"]),
        (["lantern", "--kind", "Green"], ["OLD@2"]),
        (["lantern", "--kind", "practice", "--until", "2031"], ["OLD@1", "rescue@1"]),
        (["--kind", "green"], ["OLD@2"]),
    ],
)
def test_dates_and_the_kind_of_board_narrow_or_choose_alone(
    hostlink: Callable, words: list[str], found: list[str]
) -> None:
    """A year, a month or a day, both included; the kind by its profile's name."""
    told = hostlink("find", *words, "--json")
    assert told.status == 0
    specs = [each["spec"] for each in told.json]
    assert [spec for spec in specs if spec.startswith(("OLD", "rescue"))] == found


def test_a_kind_of_board_that_is_nowhere_is_told(hostlink: Callable) -> None:
    """A name typed wrong is not taken for one without listings; those that are there are named."""
    told = hostlink("find", "gosub", "--kind", "practise")
    assert told.status == 1
    assert '"practise"' in told.err and "There are listings for: practice." in told.err


@pytest.mark.parametrize(
    "words", [["--from", "May"], ["--until", "2031-13"], ["--from", "2031-2"], ["--until", ""]]
)
def test_what_is_no_date_is_told(hostlink: Callable, words: list[str]) -> None:
    """A mistyped date is wrong use, and what is right is shown."""
    told = hostlink("find", *words)
    assert told.status == 2 and "2031-09-03" in told.err


def test_dates_in_the_wrong_order_are_told(hostlink: Callable) -> None:
    """Nothing can be kept after May and before April."""
    told = hostlink("find", "--from", "2031-05", "--until", "2031-04")
    assert told.status == 2 and "--from is later than --until" in told.err


@pytest.mark.parametrize(
    ("question", "line"),
    [
        ("gosub 900", "20 »GOSUB« »900«"),
        ("gosub900", "20 »GOSUB« »900«"),
        ("midd", '10 PRINT "»MIDD«LE"'),
    ],
)
def test_the_words_are_marked_in_the_line_that_is_shown(
    hostlink: Callable, question: str, line: str
) -> None:
    """Without colour, so that it is seen in a file and in monochrome; JSON has line and places."""
    assert line in hostlink("find", question).out
    found = hostlink("find", question, "--json").json[0]
    assert found["line"] == line.replace("»", "").replace("«", "")
    assert [found["line"][start:end].casefold() for start, end in found["marks"]] == [
        word.casefold() for word in re.findall("»(.*?)«", line)
    ]


def test_what_comes_near_is_told_apart_from_what_was_asked(hostlink: Callable) -> None:
    """The data says which words each result has; a sentence beside it says what was done."""
    told = hostlink("find", "prnit", "midle", "--json")
    assert [(each["program"], each["words"]) for each in told.json] == [
        ("MIDDLE", ["print", "middle"])
    ]
    assert 'Nothing has "midle"; "middle" is looked for instead.' in told.err
    assert "»MIDDLE«" in hostlink("find", "midle", "--quiet").out
    assert "Nothing" not in hostlink("find", "midle", "--quiet").err
    assert "Nothing" not in hostlink("find", "middle").err


def test_nothing_to_look_for_is_told(hostlink: Callable) -> None:
    """Without words or anything that chooses there is nothing to find."""
    told = hostlink("find")
    assert told.status == 2
    assert "an option that chooses" in told.err
