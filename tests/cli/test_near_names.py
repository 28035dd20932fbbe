"""A misspelt command, port, label, program, option or kind is answered with those near it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from hostlink.words import nearest


@dataclass
class Info:
    """A port as pyserial's list tells it."""

    device: str
    vid: int | None = 0x1A86
    pid: int | None = 0x7523
    description: str = "CH340 serial converter"
    serial_number: str | None = None
    location: str | None = "1-2"


@pytest.fixture
def one_bridge_here(mocker: MockerFixture) -> None:
    """A computer with one USB bridge, and a port without one as many computers have it."""
    ports = [Info("/dev/ttyUSB0"), Info("/dev/ttyS0", vid=None, pid=None, location=None)]
    mocker.patch("serial.tools.list_ports.comports", return_value=ports)


def test_near_names_are_found_without_regard_to_case() -> None:
    """As the known names are written, the nearest first, none where none is near."""
    assert nearest("tied", ["MAZE", "Tide", "DICE"])[0] == "Tide"
    assert nearest("zzzz", ["MAZE", "Tide"]) == []
    assert len(nearest("TIDE", ["TIDE1", "TIDE2", "TIDE3", "TIDE4"], 2)) == 2


def test_a_name_without_end_resembles_none() -> None:
    """A pasted page costs no time."""
    assert nearest("TIDE" * 1000, ["TIDE"]) == []


@pytest.mark.usefixtures("one_bridge_here")
@pytest.mark.parametrize("port", ["/dev/ttyUSB1", "ttyUSB1", "ttyUSB", "/dev/ttyUBS0"])
def test_a_misspelt_port_brings_the_port_that_is_here(port: str, hostlink: Callable) -> None:
    """With its whole name, also where the folder was left out; one without a bridge is not told."""
    told = hostlink("stored", "--port", port, "--profile", "practice")
    assert told.status == 3
    assert "Did you mean /dev/ttyUSB0?" in told.err


@pytest.mark.usefixtures("one_bridge_here")
def test_a_port_like_none_that_is_here_gets_no_guess(hostlink: Callable) -> None:
    """Then the command that lists ports is named."""
    told = hostlink("stored", "--port", "/nowhere", "--profile", "practice")
    assert told.status == 3
    assert "mean" not in told.err
    assert "`hostlink boards`" in told.err


def test_a_misspelt_label_brings_the_nearest(hostlink: Callable) -> None:
    """And all labels that there are."""
    for label, port in (("Red", "practice://red"), ("Blue", "practice://blue")):
        assert hostlink("boards", "--label", label, "--port", port).status == 0
    told = hostlink("stored", "--port", "Rde")
    assert told.status == 3
    assert "Did you mean Red? The labels are Blue, Red." in told.err


def test_labels_of_practice_boards_are_among_the_nearest(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch, place: Path
) -> None:
    """They are in an archive of their own, which is looked at too."""
    monkeypatch.delenv("HOSTLINK_ARCHIVE")
    monkeypatch.setenv("XDG_DATA_HOME", str(place / "data"))
    assert hostlink("boards", "--label", "Red", "--port", "practice://red").status == 0
    told = hostlink("stored", "--port", "Rde")
    assert "Did you mean Red? The labels are Red." in told.err
    assert "--port Rde" not in told.err


def test_a_misspelt_image_brings_the_files_beside_it(hostlink: Callable, place: Path) -> None:
    """Whether it is to be reviewed or written; without one that is near, nothing is guessed."""
    (place / "class.hex").write_text(":00000001FF\n", encoding="ascii")
    for command in ("review", "write"):
        told = hostlink("firmware", command, "clas.hex")
        assert told.status == 1
        assert "Did you mean class.hex?" in told.err
    assert "mean" not in hostlink("firmware", "review", "other.bin").err


@pytest.mark.parametrize(
    ("port", "meant"),
    [
        ("practise://x", "practice://"),
        ("rfc2271://localhost:1", "rfc2217://"),
        ("practice://x?lime_ms=3", "line_ms"),
    ],
)
def test_a_misspelt_address_brings_what_was_meant(
    port: str, meant: str, hostlink: Callable
) -> None:
    """Its scheme, and the options of a practice board."""
    told = hostlink("stored", "--port", port, "--profile", "practice")
    assert told.status == 2
    assert f"Did you mean {meant}?" in told.err


def test_a_misspelt_file_brings_the_files_beside_it(hostlink: Callable, listing: Callable) -> None:
    """Also in another folder; one that is not there brings nothing."""
    listing("10 END", name="ferry.bas")
    assert "Similar: ferry.bas." in hostlink("review", "fery.bas").err
    assert "Similar: ferry.bas." in hostlink("review", "./ferry.bsa").err
    assert "Similar" not in hostlink("review", "nowhere/ferry.bas").err


def test_a_misspelt_program_or_command_brings_the_nearest(hostlink: Callable) -> None:
    """From the shipped programs too; within a group its own commands."""
    assert "Similar: HAIL." in hostlink("show", "hial").err
    assert "Did you mean load?" in hostlink("laod").err
    assert "Did you mean prove?" in hostlink("archive", "proove").err


@pytest.mark.parametrize(
    ("port", "meant"), [("practice", "practice://?"), ("practice://x?kind=tinny", "tiny?")]
)
def test_a_misspelt_practice_board_is_understood(port: str, meant: str, hostlink: Callable) -> None:
    """The address without its marks, and a kind that is nearly one."""
    told = hostlink("load", "hail", "--port", port)
    assert told.status in (2, 3)
    assert f"Did you mean {meant}" in told.err


def test_help_typed_as_a_command_names_the_option(hostlink: Callable) -> None:
    """Other programs have it as a command."""
    assert "Did you mean --help?" in hostlink("help", "load").err
