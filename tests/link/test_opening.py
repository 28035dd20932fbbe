"""Opening by name: which kind of port a name means, and the clock that comes with it."""

from __future__ import annotations

from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from hostlink.errors import LinkError, LinkReason, UsageError
from hostlink.link.clock import RealClock, VirtualClock
from hostlink.link.opening import open_port, practice_folder
from hostlink.link.port import SelfTimedPort
from hostlink.link.serial_port import SerialPort
from hostlink.practice.port import PracticePort


@pytest.fixture(autouse=True)
def _folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Practice boards of these tests are kept in a folder of their own."""
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "boards"))


def test_a_practice_address_opens_a_practice_board_in_real_time() -> None:
    """Real time unless the address says otherwise."""
    port, clock = open_port("practice://", 57600)
    assert isinstance(port, PracticePort)
    assert isinstance(clock, RealClock)
    assert not isinstance(port, SelfTimedPort)
    port.close()


def test_a_practice_board_can_bring_virtual_time() -> None:
    """`time=virtual` gives a clock that the port sets forward itself."""
    port, clock = open_port("practice://?time=virtual", 57600)
    assert isinstance(clock, VirtualClock)
    assert isinstance(port, SelfTimedPort)
    port.write(b"\r")
    port.wait_until(10.0)
    assert port.in_waiting
    port.close()


def test_a_practice_board_hears_the_speed_that_was_asked_for() -> None:
    """The host's speed is the port's, the board's is its own: a wrong one is not understood."""
    port, clock = open_port("practice://?time=virtual&baud=9600", 57600)
    assert isinstance(port, PracticePort)
    port.write(b"10 END\r")
    assert isinstance(clock, VirtualClock)
    clock.advance_to(2.0)
    assert b"10 END" not in port.read(100)
    port.close()


def test_a_practice_board_keeps_its_program_between_two_openings() -> None:
    """Closing keeps, opening finds."""
    port, clock = open_port("practice://red?time=virtual", 57600)
    port.write(b"10 END\r")
    clock.sleep(1.0)
    port.close()
    port, clock = open_port("practice://red?time=virtual", 57600)
    port.write(b"LIST\r")
    clock.sleep(1.0)
    assert b"10 END" in port.read(100)
    port.close()


def test_a_practice_board_is_busy_while_it_is_open() -> None:
    """A second opening of the same board is refused."""
    port, _ = open_port("practice://red", 57600)
    with pytest.raises(LinkError) as caught:
        open_port("practice://red", 57600)
    assert caught.value.reason is LinkReason.BUSY
    port.close()


@pytest.mark.parametrize("name", ["practice:red", "practice:", "practice:/red"])
def test_half_a_practice_address_is_wrong_use_and_no_other_board(name: str) -> None:
    """Without both slashes no board is opened under a cut-off name."""
    with pytest.raises(UsageError, match="not the address"):
        open_port(name, 57600)


def test_anything_else_is_a_serial_port(mocker: MockerFixture) -> None:
    """A device or network address goes to pyserial, in real time."""
    opened = mocker.patch("hostlink.link.serial_port.serial.serial_for_url")
    opened.return_value.fd = None
    port, clock = open_port("rfc2217://host:1", 9600)
    assert isinstance(port, SerialPort)
    assert isinstance(clock, RealClock)
    assert opened.call_args.args == ("rfc2217://host:1",)


def test_the_folder_of_practice_boards_can_be_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """HOSTLINK_PRACTICE names it; blank or missing, it is in the user's own state folder."""
    assert practice_folder() == tmp_path / "boards"
    monkeypatch.setenv("HOSTLINK_PRACTICE", "  ")
    assert practice_folder().parts[-2:] == ("hostlink", "practice")
    monkeypatch.setenv("HOSTLINK_PRACTICE", "~/boards")
    assert practice_folder() == Path.home() / "boards"
