"""`hostlink boards` and `hostlink restart`: what is plugged in, in words, and no port opened."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from pytest_mock import MockerFixture

from hostlink.archive import Archive
from hostlink.cli.context import CommonOptions
from hostlink.cli.port_choice import known_ports
from hostlink.jobs.boards import access_advice, without_port

Plug = Callable[..., None]


@pytest.fixture
def plug(mocker: MockerFixture) -> Plug:
    """Plug in ports: (device, vid, pid, serial number, location) each."""

    def put(*found: tuple[str, int | None, int | None, str | None, str | None]) -> None:
        infos = [
            SimpleNamespace(
                device=device,
                description="n/a",
                vid=vid,
                pid=pid,
                serial_number=serial,
                location=location,
            )
            for device, vid, pid, serial, location in found
        ]
        mocker.patch("serial.tools.list_ports.comports", return_value=infos)

    return put


@pytest.fixture(autouse=True)
def nothing_plugged_in(plug: Plug, mocker: MockerFixture) -> None:
    """Whatever this computer has, the tests see an empty table."""
    plug()
    mocker.patch("hostlink.board.port.ports.hidden_bridges", return_value=[])


def test_a_board_is_explained(hostlink: Callable, plug: Plug) -> None:
    """Bridge chip with its USB id, driver, how it is recognised; nothing is known of it yet."""
    plug(("/dev/ttyUSB0", 0x0403, 0x6001, "A5", "1-2"))
    told = hostlink("boards", "--details")
    assert told.status == 0
    assert told.out.splitlines()[0] == "without a label, /dev/ttyUSB0"
    assert "FT232 Serial (UART) IC (0403:6001)" in told.out
    assert "serial number A5" in told.out
    assert "not known yet whether that restarts it" in told.out
    assert "1 port with a USB bridge" in told.err


def test_boards_that_cannot_be_told_apart_are_not_said_to_be(
    hostlink: Callable, plug: Plug
) -> None:
    """A bridge without a number is known by its socket, and the doubt is said."""
    plug(("/dev/ttyUSB0", 0x1A86, 0x7523, None, "1-2"))
    assert (
        "USB socket 1-2 only: its bridge has no serial number"
        in hostlink("boards", "--details").out
    )
    plug(
        ("/dev/ttyUSB0", 0x10C4, 0xEA60, "0001", "1-2"),
        ("/dev/ttyUSB1", 0x10C4, 0xEA60, "0001", "1-3"),
    )
    told = hostlink("boards", "--details")
    assert told.out.count("its serial number 0001 is also that of another board") == 2


def test_labels_stay_with_the_right_board(hostlink: Callable, plug: Plug) -> None:
    """By number wherever it is plugged in, without one by socket."""
    plug(("/dev/ttyUSB0", 0x0403, 0x6001, "A5", "1-2"), ("/dev/ttyUSB1", 0x1A86, 0x7523, "", "1-3"))
    assert hostlink("boards", "--label", "Red", "--port", "/dev/ttyUSB0").status == 0
    assert hostlink("boards", "--label", "Blue", "--port", "/dev/ttyUSB1").status == 0
    plug(("/dev/ttyUSB4", 0x0403, 0x6001, "A5", "3-1"), ("/dev/ttyUSB5", 0x1A86, 0x7523, "", "1-4"))
    here = {row["port"]: row["label"] for row in hostlink("boards", "--json").json}
    assert here["/dev/ttyUSB4"] == "Red"
    assert here["/dev/ttyUSB5"] is None
    assert "Blue, not plugged in" in hostlink("boards", "--details").out


def test_a_labelled_practice_board_remains_of_its_kind(hostlink: Callable) -> None:
    """As after any command that names its kind; one that is of another kind gets no label."""
    hostlink("boards", "--label", "Red", "--port", "practice://red?kind=capital")
    told = hostlink("boards", "--label", "Blue", "--port", "practice://red?kind=token")
    assert told.status == 1 and "is of the kind capital, not token" in told.err
    assert [row["label"] for row in hostlink("boards", "--json").json] == ["Red"]
    assert "like a board of kind capital" in hostlink("save", "--port", "Red").err


def test_what_was_seen_at_openings_is_shown(hostlink: Callable) -> None:
    """Once a board restarted when it was opened, the table says so, and what it held."""
    assert hostlink("load", "hail").status == 0
    assert "did not restart it" in hostlink("boards", "--details").out
    assert (
        hostlink("stored", "--port", "practice://class?time=virtual&restarts_on_open=1").status == 0
    )
    (row,) = hostlink("boards", "--json").json
    assert row["restarts_on_open"] is True
    assert row["holds"] == "HAIL@1"
    assert row["recognised_by"] == "its name"
    assert "restarts it: what its memory holds is lost" in hostlink("boards", "--details").out


def test_each_board_has_one_row_in_natural_order(hostlink: Callable, archive: Archive) -> None:
    """BOARD-2 before BOARD-10, whatever order they came in; what it held stands in its row."""
    for number in (10, 2, 1):
        board = archive.board_seen(serial=f"practice:b{number}")
        archive.board_label(board.uuid, f"Board-{number}")
    hostlink("load", "hail", "--port", "practice://b2?time=virtual")
    head, *rows = hostlink("boards").out.splitlines()
    assert head.split() == ["board", "port", "bridge", "chip", "opening", "profile", "last", "held"]
    assert [row.split()[0] for row in rows] == ["Board-1", "Board-2", "Board-10"]
    assert "  HAIL@1, proven 2" in rows[1]
    assert "leaves it" in rows[1] and "not known" in rows[0]


def test_ports_without_a_bridge_are_shown_on_request(hostlink: Callable, plug: Plug) -> None:
    """Phantom ports are hidden unless --all is given."""
    plug(("/dev/ttyS0", None, None, None, None))
    assert "/dev/ttyS0" not in hostlink("boards").out
    assert "/dev/ttyS0" in hostlink("boards", "--all").out


def test_a_bridge_without_a_port_is_told(hostlink: Callable, mocker: MockerFixture) -> None:
    """It is plugged in, but its driver is not at work: which one, and where to look."""
    found = [("1-4", 0x1A86, 0x7523)]
    mocker.patch("hostlink.board.port.ports.hidden_bridges", return_value=found)
    assert "plugged in at 1-4 but has no port" in hostlink("boards").err
    assert "ch341" in without_port(found, "linux")[0]


def test_a_port_that_may_not_be_opened_names_the_way(tmp_path: Any, mocker: MockerFixture) -> None:
    """The group that owns the device, and how to join it; nothing where all is well."""
    device = tmp_path / "ttyUSB0"
    device.touch()
    device.chmod(0o660)
    mocker.patch("pathlib.Path.group", return_value="dialout")
    mocker.patch("os.getegid", return_value=device.stat().st_gid + 1)
    mocker.patch("os.getgroups", return_value=[])
    assert access_advice(str(device)) == ""
    mocker.patch("os.access", return_value=False)
    told = access_advice(str(device))
    assert "sudo usermod -aG" in told
    assert "You have no access" not in told  # meeting the board says so in a sentence before it
    assert access_advice("practice://red") == ""
    assert access_advice(str(tmp_path / "none")) == ""


# --- restart ---------------------------------------------------------------------------------


def test_restart_needs_a_word(hostlink: Callable, board_holds: Callable) -> None:
    """Without --yes and without a person to ask, nothing happens and no port is opened."""
    hostlink("load", "hail")
    told = hostlink("restart")
    assert told.status == 1
    assert "--yes" in told.err
    assert len(board_holds()) == 22


def test_restart_says_how_to_get_the_program_back(
    hostlink: Callable, board_holds: Callable
) -> None:
    """It is kept first; afterwards memory is empty, and the command that loads it is named."""
    hostlink("load", "hail")
    told = hostlink("restart", "--yes")
    assert told.status == 0
    assert "hostlink load HAIL@1" in told.err
    assert board_holds() == {}
    assert hostlink("restart", "--yes", "--json").json == {
        "board_held": None,
        "at_prompt": True,
        "lines": 0,
    }


@pytest.mark.parametrize(
    ("answer", "status", "lines"),
    [("y\n", 0, 0), ("ja\nYes\n", 0, 0), ("\n", 1, 22), ("", 130, 22)],
)
def test_a_person_is_asked(
    answer: str,
    status: int,
    lines: int,
    hostlink: Callable,
    board_holds: Callable,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Yes restarts; Return alone, and walking away, do not. Any other word is asked again."""
    from hostlink.cli.entry import run_line

    hostlink("load", "hail")
    typed = io.StringIO(answer)
    typed.isatty = lambda: True  # type: ignore[method-assign]
    monkeypatch.setattr(sys, "stdin", typed)
    assert run_line(["restart"]) == status
    assert len(board_holds()) == lines


def test_a_plain_connection_cannot_be_restarted(hostlink: Callable, archive: Archive) -> None:
    """Told at once, before anything is opened."""
    told = hostlink("restart", "--yes", "--port", "socket://127.0.0.1:1")
    assert told.status == 1
    assert "no restart line" in told.err
    assert archive.boards() == []


def test_how_well_it_is_known_what_a_board_holds_is_told(hostlink: Callable) -> None:
    """After a load when that was proven; after a line that was typed, that it was changed since."""
    assert hostlink("load", "shipped:hail").status == 0
    assert re.search(r"HAIL@1, proven 20\d\d-\d\d-\d\d \d\d:\d\d\n", hostlink("boards").out)
    (row,) = hostlink("boards", "--json").json
    assert row["holds_proven_at"] and row["may_lack_edits"] is False
    hostlink("console", stdin=b"15 REM X\nleave!\n")
    (row,) = hostlink("boards", "--json").json
    assert row["may_lack_edits"] is True
    assert re.search(r"HAIL@1, proven 20[^,]*, changed since\n", hostlink("boards").out)


def test_a_new_label_in_place_of_another_is_said(hostlink: Callable) -> None:
    """Nobody is left to wonder where the old one went; the same label again is no change."""
    port = ("--port", "practice://red")
    assert "is Red.\n" in hostlink("boards", "--label", "Red", *port).err
    assert "is Red.\n" in hostlink("boards", "--label", "Red", *port).err
    assert "is Blue; it was Red.\n" in hostlink("boards", "--label", "Blue", *port).err
    assert "is without a label; it was Blue.\n" in hostlink("boards", "--label", "", *port).err


@pytest.mark.parametrize(
    "label",
    [
        *("--all", "practice://b1", "/dev/ttyUSB0", "com:1", "COM3", "com4", "ttyUSB0", "practice"),
        "cu.usbserial-1410",
    ],
)
def test_what_would_be_taken_for_a_port_is_no_label(hostlink: Callable, label: str) -> None:
    """Where it was used it would never lead to the board."""
    told = hostlink("boards", f"--label={label}", "--port", "practice://red")
    assert told.status == 1
    assert "cannot be a label" in told.err


@pytest.mark.parametrize("label", ["Comet", "ttySusan"])
def test_a_word_that_begins_like_a_port_is_a_label(hostlink: Callable, label: str) -> None:
    """Only a whole port name is refused."""
    assert f"is {label}" in hostlink("boards", f"--label={label}", "--port", "practice://red").err


def test_all_boards_are_taken_in_natural_order(plug: Plug, archive: Archive) -> None:
    """As their rows are shown: BOARD-2 before BOARD-10, then those without a label."""
    numbers = ("A", "B", "C", "D")
    plug(
        *[(f"/dev/ttyUSB{at}", 0x0403, 0x6001, each, f"1-{at}") for at, each in enumerate(numbers)]
    )
    for serial, label in zip(numbers, ("Board-10", "", "Board-2", "Board-1"), strict=True):
        board = archive.board_seen(vid=0x0403, pid=0x6001, serial=serial, profile="practice")
        archive.board_label(board.uuid, label)
    assert known_ports(CommonOptions(), archive) == [f"/dev/ttyUSB{at}" for at in (3, 2, 0, 1)]
