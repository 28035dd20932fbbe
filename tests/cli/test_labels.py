"""A board's label stands for its port, wherever a port is asked for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pytest_mock import MockerFixture

from hostlink.archive import Archive
from hostlink.board.port.ports import Identity
from hostlink.jobs.boards import looks_like_label, port_labelled


@pytest.fixture
def labelled(hostlink: Callable) -> Any:
    """Two practice boards, labelled Red and Green, each with a program."""
    for name, label in (("one", "Red"), ("two", "Green")):
        port = f"practice://{name}"
        assert hostlink("boards", "--label", label, "--port", port).status == 0
        assert hostlink("load", "tide", "--port", f"{port}?time=virtual").status == 0
    return hostlink


# Every command that takes --port, as it is used with a board that holds a program.
COMMANDS = [
    ("load", "hail"),
    ("save", "HAIL"),
    ("run",),
    ("stored",),
    ("store", "HAIL"),
    ("backup",),
    ("restart", "--discard-board", "--yes"),
    ("boards", "--label", "Red"),
]


@pytest.mark.one_in(4)
@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_a_label_is_a_port(labelled: Callable, command: tuple[str, ...]) -> None:
    """In any case of letters."""
    assert labelled(*command, "--port", "rEd").status == 0


@pytest.mark.one_in(4)
@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_a_label_that_no_board_has_is_told_at_once(
    labelled: Callable, command: tuple[str, ...]
) -> None:
    """Nothing is said of restarting a board that is not there; the labels there are, are named."""
    told = labelled(*command, "--port", "Blue")
    assert told.status == 3
    assert "There is no port Blue, and no board with that label." in told.err
    assert "The labels are Green, Red." in told.err
    assert "restart the board" not in told.err


def test_looking_for_a_label_makes_no_archive(hostlink: Callable, place: Path) -> None:
    """Where there is no archive, no board has a label."""
    assert hostlink("stored", "--port", "Blue").status == 3
    assert not (place / "archive.sqlite3").exists()


def test_a_port_is_no_label() -> None:
    """Addresses, paths, and the names that Windows gives its ports."""
    ports = ["practice://red", "socket://h:1", "/dev/ttyUSB0", "COM3", "com12", "practice:red"]
    assert [port for port in ports if looks_like_label(port)] == []
    assert looks_like_label("Red")


def test_a_labelled_usb_board_is_found_wherever_it_is_plugged_in(
    archive: Archive, mocker: MockerFixture
) -> None:
    """By its serial number, under today's name of the port; a board that is away is told."""
    board = archive.board_seen(vid=0x1A86, pid=0x7523, serial="A1", location="1-2")
    archive.board_label(board.uuid, "Red")
    here = mocker.patch("hostlink.jobs.boards.boards_here")
    here.return_value = [Identity("/dev/ttyUSB4", 0x1A86, 0x7523, serial="A1", location="1-4")]
    assert port_labelled(archive.boards(), "red") == "/dev/ttyUSB4"
    here.return_value = []
    with pytest.raises(Exception, match=r"The board Red is not plugged in\."):
        port_labelled(archive.boards(), "red")


def test_an_evening_can_be_rehearsed_on_labelled_practice_boards(
    labelled: Callable, mocker: MockerFixture
) -> None:
    """--all takes them where no known board is plugged in, and says so."""
    mocker.patch("hostlink.board.port.ports._comports", return_value=[])
    told = labelled("load", "hail", "--all")
    assert told.status == 0
    assert "2 labelled practice boards instead" in told.err
    assert [row.split()[0] for row in told.out.splitlines()[1:]] == ["Green", "Red"]
