"""load and save on several boards: one line each, one summary, the worst status."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest
from pytest_mock import MockerFixture

from hostlink.archive import Archive

RED, BLUE = "practice://red?time=virtual", "practice://blue?time=virtual"
BOTH = ("--port", RED, "--port", BLUE)


def test_both_boards_are_loaded(hostlink: Callable, board_holds: Callable) -> None:
    """A row for each in the summary, a sentence for each as it is done."""
    told = hostlink("load", "hail", *BOTH)
    assert told.status == 0
    assert len(board_holds("red")) == len(board_holds("blue")) == 22
    assert [row.split()[:2] for row in told.out.splitlines()[1:]] == [
        ["red", "HAIL@1"],
        ["blue", "HAIL@1"],
    ]
    assert "red: done." in told.err
    assert "blue: done." in told.err


def test_what_each_board_held_is_said(hostlink: Callable) -> None:
    """A rescue is told of its board, and a program that is in the archive already too."""
    assert hostlink("load", "hail", "--port", RED).status == 0
    hostlink("console", "--port", BLUE, stdin=b"10 PRINT 1\n")
    told = hostlink("load", "tide", *BOTH)
    assert told.status == 0
    assert "red: What the board held is in the archive as HAIL@1." in told.err
    assert "blue: Rescued what the board held as rescue@1 (1 line, 10 bytes)." in told.err


def test_one_failure_is_the_status_of_the_whole(hostlink: Callable, board_holds: Callable) -> None:
    """The other board is loaded anyway, and its row says so."""
    told = hostlink("load", "hail", "--port", RED, "--port", f"{BLUE}&unplug_after_bytes=50")
    assert told.status == 3
    assert len(board_holds("red")) == 22
    assert "unplugged" in told.out
    assert "proven" in told.out


def test_json_tells_each_board(hostlink: Callable) -> None:
    """A list with one entry a board, in the order in which they were named."""
    red, blue = hostlink(
        "load", "hail", "--json", "--port", RED, "--port", f"{BLUE}&unplug_after_bytes=50"
    ).json
    assert (red["board"], red["status"], red["revision"], red["error"]) == (
        "red",
        0,
        "HAIL@1",
        None,
    )
    assert (blue["board"], blue["status"]) == ("blue", 3)
    assert "unplugged" in blue["error"]
    assert "HAIL@1" in blue["kept"]


def test_saves_are_named_by_board_and_day(
    hostlink: Callable, archive: Archive, mocker: MockerFixture
) -> None:
    """Saving again on the same day adds nothing new."""
    day = mocker.patch("hostlink.cli.commands.many.date")
    day.today.return_value = date(2026, 11, 27)
    hostlink("load", "hail", *BOTH)
    for port in (RED, BLUE):
        hostlink("console", "--port", port, stdin=f"5 REM {port[-20:]}\nleave!\n".encode())
    told = hostlink("save", *BOTH)
    assert told.status == 0
    names = {program.name for program in archive.programs()}
    assert names == {"HAIL", "RED-2026-11-27", "BLUE-2026-11-27"}
    assert hostlink("save", *BOTH).out.count("nothing new") == 2


def test_untouched_boards_are_not_saved_as_so_many_copies(
    hostlink: Callable, archive: Archive
) -> None:
    """Each is told as the revision that it still holds, and nothing is kept twice."""
    hostlink("load", "hail", *BOTH)
    red, blue = hostlink("save", "--json", *BOTH).json
    assert (red["revision"], red["is_new"]) == ("HAIL@1", False)
    assert (blue["revision"], blue["is_new"]) == ("HAIL@1", False)
    assert [(one.name, one.revisions) for one in archive.programs()] == [("HAIL", 1)]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("load", "hail", "--run", *BOTH), "one board"),
        (("save", "KEPT", *BOTH), "under a name of their own"),
        (("load", "hail", "--all", "--port", RED), "choose one"),
        (("load", "hail", "--record", "wire.txt", *BOTH), "for one board"),
        (("load", "hail", "--port", RED, "--port", f"{RED}&line_ms=1"), "the same board"),
    ],
)
def test_what_suits_only_one_board_is_refused(
    words: tuple[str, ...], said: str, hostlink: Callable, archive: Archive
) -> None:
    """As wrong use, before any port is opened."""
    told = hostlink(*words)
    assert told.status == 2
    assert said in told.err
    assert archive.boards() == []


def test_several_ports_are_taken_from_the_environment(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Several in HOSTLINK_PORT, separated by blanks, mean several boards."""
    monkeypatch.setenv("HOSTLINK_PORT", f"{RED} {BLUE}")
    assert [row["board"] for row in hostlink("load", "hail", "--json").json] == ["red", "blue"]


@pytest.fixture
def plugged(mocker: MockerFixture) -> None:
    """Two bridges are plugged in."""
    infos: list[Any] = [
        SimpleNamespace(
            device=device,
            description="",
            vid=0x0403,
            pid=0x6001,
            serial_number=serial,
            location="1-1",
        )
        for device, serial in (("/dev/ttyUSB0", "A1"), ("/dev/ttyUSB1", "A2"))
    ]
    mocker.patch("serial.tools.list_ports.comports", return_value=infos)


@pytest.mark.usefixtures("plugged")
def test_all_means_the_known_boards(
    hostlink: Callable, archive: Archive, mocker: MockerFixture
) -> None:
    """What was never named as a board may be anything, and is left alone; that is said."""
    told = hostlink("load", "hail", "--all")
    assert told.status == 2
    assert told.err.count("was left alone") == 2
    board = archive.board_seen(vid=0x0403, pid=0x6001, serial="A2", profile="practice")
    archive.board_label(board.uuid, "Red")
    seen = mocker.patch("hostlink.jobs.many.load_on_each", return_value=[])
    hostlink("load", "hail", "--all")
    (choice,) = seen.call_args[0][0]
    assert (choice.port, choice.profile.name) == ("/dev/ttyUSB1", "practice")
