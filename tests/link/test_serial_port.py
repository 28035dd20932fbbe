"""Foreign errors at the pyserial seam: each becomes one clear LinkError, whatever its name.

Sources of the foreign errors: pyserial 3.5, serialposix.py and serialwin32.py (read), and
experiments on Linux. The Windows texts are from its source; nothing here was run there.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest.mock import PropertyMock

import pytest
import serial
from pytest_mock import MockerFixture

from hostlink.cli.ways import in_commands
from hostlink.errors import LinkError, LinkReason, UsageError
from hostlink.link.serial_port import WRITE_TIMEOUT_S, SerialPort, permission_advice
from hostlink.open_port import READ_TIMEOUT_S

SEAM = "hostlink.link.serial_port.serial.serial_for_url"
DEVICE = "/dev/ttyNONE7"
posix = pytest.mark.skipif(os.name != "posix", reason="termios is POSIX only")


def _termios_error() -> BaseException:
    import termios

    return termios.error(errno.EIO, "Input/output error")


@pytest.fixture
def far(mocker: MockerFixture) -> Any:
    """What pyserial's open function gives: a fake port without a file descriptor."""
    fake = mocker.MagicMock(name="pyserial port", fd=None)
    fake.read.return_value = b""
    fake.in_waiting = 0
    mocker.patch(SEAM, return_value=fake)
    return fake


# --- opening -------------------------------------------------------------------------------------

NO_SUCH = serial.SerialException(errno.ENOENT, f"could not open port {DEVICE}: [Errno 2]")
NO_SUCH_WINDOWS = serial.SerialException(
    "could not open port 'COM9': FileNotFoundError(2, 'The system cannot find the file', None, 2)"
)
BUSY = serial.SerialException(errno.EBUSY, f"could not open port {DEVICE}: [Errno 16]")
LOCKED = serial.SerialException(errno.EAGAIN, f"Could not exclusively lock port {DEVICE}: [11]")
LOCKED_PLAIN = serial.SerialException(f"Could not exclusively lock port {DEVICE}")
BUSY_WINDOWS = serial.SerialException(
    "could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)"
)
DENIED = serial.SerialException(errno.EACCES, f"could not open port {DEVICE}: [Errno 13]")
NO_ANSWER = serial.SerialException("Could not open port socket://x: [Errno 111] refused")
NOT_A_LINE = serial.SerialException("Could not configure port: (25, 'Inappropriate ioctl')")


@pytest.mark.parametrize(
    ("error", "reason", "words"),
    [
        pytest.param(NO_SUCH, LinkReason.NOT_FOUND, "no port", id="missing"),
        pytest.param(NO_SUCH_WINDOWS, LinkReason.NOT_FOUND, "no port", id="missing-windows"),
        pytest.param(BUSY, LinkReason.BUSY, "in use", id="busy"),
        pytest.param(LOCKED, LinkReason.BUSY, "in use", id="locked"),
        pytest.param(LOCKED_PLAIN, LinkReason.BUSY, "in use", id="locked-by-text"),
        pytest.param(BUSY_WINDOWS, LinkReason.BUSY, "in use", id="busy-windows"),
        pytest.param(DENIED, LinkReason.NOT_PERMITTED, "not permitted", id="denied"),
        pytest.param(NO_ANSWER, LinkReason.UNKNOWN, "refused", id="network"),
        pytest.param(NOT_A_LINE, LinkReason.UNKNOWN, "Inappropriate", id="not-a-line"),
        pytest.param(OSError(errno.ENXIO, "x"), LinkReason.UNKNOWN, "No such device", id="enxio"),
    ],
)
def test_opening_errors_are_told_apart(
    mocker: MockerFixture, error: Exception, reason: LinkReason, words: str
) -> None:
    """Each way in which opening fails has its reason, names the port and says what to do."""
    mocker.patch(SEAM, side_effect=error)
    with pytest.raises(LinkError, match=words) as caught:
        SerialPort(DEVICE, 9600)
    assert caught.value.reason is reason
    assert DEVICE in caught.value.what
    assert caught.value.advice
    assert caught.value.__cause__ is error


def test_an_address_that_makes_no_sense_is_wrong_use(mocker: MockerFixture) -> None:
    """An unknown scheme is the user's slip, not the link's failure."""
    mocker.patch(SEAM, side_effect=ValueError("invalid URL, protocol 'x' not known"))
    with pytest.raises(UsageError, match="not an address"):
        SerialPort("x://y", 9600)


def test_a_speed_that_a_device_does_not_take_is_not_blamed_on_its_name(
    mocker: MockerFixture,
) -> None:
    """pyserial raises ValueError for speeds too; the message must be about the speed."""
    mocker.patch(SEAM, side_effect=ValueError("Failed to set custom baud rate (12345)"))
    with pytest.raises(UsageError, match="does not take this speed") as caught:
        SerialPort(DEVICE, 12345)
    assert "--baud" in in_commands(caught.value.advice)


@posix
@pytest.mark.parametrize(
    ("mode", "group", "is_member", "helps"),
    [
        (0o660, "dialout", False, True),
        (0o660, "dialout", True, False),
        (0o640, "dialout", False, False),
        (0o600, "root", False, False),
        (0o660, "root", False, False),
    ],
)
def test_permission_names_the_group_only_where_joining_it_helps(
    mode: int, group: str, *, is_member: bool, helps: bool, tmp_path: Path, mocker: MockerFixture
) -> None:
    """It may read and write, it is not root, and the user is not in it yet."""
    node = tmp_path / "node"
    node.touch()
    node.chmod(mode)
    mocker.patch("pathlib.Path.group", return_value=group)
    own = node.stat().st_gid
    mocker.patch("os.getegid", return_value=own if is_member else own + 1)
    mocker.patch("os.getgroups", return_value=[])
    told = permission_advice(str(node))
    assert (f"sudo usermod -aG {group} $USER" in told) is helps
    assert ("administrator" in told) is not helps


def test_permission_advice_without_a_known_group_still_says_something(tmp_path: Path) -> None:
    """A device whose group cannot be told gets the general advice."""
    assert "access to serial ports" in permission_advice(str(tmp_path / "nothing"))


def test_a_denied_port_carries_the_advice_about_its_group(
    mocker: MockerFixture, tmp_path: Path
) -> None:
    """The group appears in the error that the user sees."""
    mocker.patch("hostlink.link.serial_port.Path.group", return_value="dialout")
    mocker.patch(SEAM, side_effect=serial.SerialException(errno.EACCES, "denied"))
    node = tmp_path / "node"
    node.touch()
    node.chmod(0o660)
    mocker.patch("os.getegid", return_value=node.stat().st_gid + 1)
    mocker.patch("os.getgroups", return_value=[])
    with pytest.raises(LinkError) as caught:
        SerialPort(str(node), 9600)
    assert "dialout" in caught.value.advice


# --- options -------------------------------------------------------------------------------------


def options_of(mocker: MockerFixture, name: str) -> dict[str, Any]:
    """The options with which pyserial is asked for a port."""
    opened = mocker.patch(SEAM, return_value=mocker.MagicMock(fd=None))
    SerialPort(name, 57600)
    assert opened.call_args.args == (name,)
    return dict(opened.call_args.kwargs)


def test_a_device_is_opened_for_this_program_alone(mocker: MockerFixture) -> None:
    """A lock against a second reader, a bound on writes, and the timeout set once."""
    options = options_of(mocker, DEVICE)
    assert options["baudrate"] == 57600
    assert options["timeout"] == READ_TIMEOUT_S
    assert options["write_timeout"] == WRITE_TIMEOUT_S
    assert options.get("exclusive") is (True if os.name == "posix" else None)


@pytest.mark.parametrize("name", ["rfc2217://host:1", "socket://host:1"])
def test_a_network_port_gets_only_what_it_understands(mocker: MockerFixture, name: str) -> None:
    """RFC 2217 ports refuse a write timeout, and there is nothing to lock."""
    options = options_of(mocker, name)
    assert "write_timeout" not in options
    assert "exclusive" not in options


# --- an open port --------------------------------------------------------------------------------

GONE: list[Any] = [
    pytest.param(lambda: serial.SerialException("returned no data"), id="serial"),
    pytest.param(lambda: OSError(errno.EIO, "Input/output error"), id="eio"),
    pytest.param(lambda: OSError(errno.ENXIO, "Device not configured"), id="enxio-macos"),
    pytest.param(
        lambda: serial.SerialException("ClearCommError failed (PermissionError(13, 'x', None, 5))"),
        id="clear-comm-windows",
    ),
    pytest.param(lambda: TypeError("an integer is required"), id="closed-under-a-read"),
    pytest.param(lambda: ValueError("remote rejected value for option"), id="network-option"),
    pytest.param(_termios_error, id="termios", marks=posix),
]


def _read(port: SerialPort, far: Any, error: BaseException) -> None:
    far.read.side_effect = error
    port.read(1)


def _write(port: SerialPort, far: Any, error: BaseException) -> None:
    far.write.side_effect = error
    port.write(b"A")


def _in_waiting(port: SerialPort, far: Any, error: BaseException) -> None:
    type(far).in_waiting = PropertyMock(side_effect=error)
    _ = port.in_waiting


def _dtr(port: SerialPort, far: Any, error: BaseException) -> None:
    type(far).dtr = PropertyMock(side_effect=error)
    port.dtr = True


def _reset(port: SerialPort, far: Any, error: BaseException) -> None:
    far.reset_input_buffer.side_effect = error
    port.reset_input_buffer()


@pytest.mark.parametrize("error", GONE)
@pytest.mark.parametrize("call", [_read, _write, _in_waiting, _dtr, _reset])
def test_unplugging_looks_the_same_from_every_call(
    far: Any, call: Callable[..., None], error: Callable[[], BaseException]
) -> None:
    """Whatever the system raises once a port is open, it is gone: one LinkError that says so."""
    port = SerialPort(DEVICE, 9600)
    raised = error()
    with pytest.raises(LinkError, match="vanished") as caught:
        call(port, far, raised)
    assert caught.value.reason is LinkReason.GONE
    assert caught.value.__cause__ is raised
    port.close()


def test_a_write_that_is_not_taken_is_silence_and_not_repeated(far: Any) -> None:
    """After a write timeout an unknown part went out: it is told, and nothing is sent again."""
    port = SerialPort(DEVICE, 9600)
    far.write.side_effect = serial.SerialTimeoutException("Write timeout")
    with pytest.raises(LinkError, match="did not take the bytes") as caught:
        port.write(b"10 END\r")
    assert caught.value.reason is LinkReason.SILENT
    assert far.write.call_count == 1


@pytest.mark.parametrize("number", [errno.ENOTTY, errno.EINVAL])
def test_a_line_without_dtr_is_not_an_unplugged_one(
    mocker: MockerFixture, far: Any, number: int
) -> None:
    """A pseudo-terminal has no DTR and says ENOTTY: setting it does nothing."""
    port = SerialPort(DEVICE, 9600)
    refused = mocker.PropertyMock(side_effect=OSError(number, "Inappropriate ioctl for device"))
    type(far).dtr = refused
    port.dtr = False
    refused.assert_called_once_with(False)


def test_close_is_quiet_after_the_board_was_unplugged(far: Any) -> None:
    """Closing gives the port back although both of pyserial's calls fail."""
    port = SerialPort(DEVICE, 9600)
    far.reset_output_buffer.side_effect = OSError(errno.EIO, "x")
    far.close.side_effect = serial.SerialException("x")
    port.close()
    far.close.assert_called_once()


def test_close_throws_away_what_was_not_sent(far: Any) -> None:
    """Unsent bytes go first, else close may wait for them half a minute."""
    port = SerialPort(DEVICE, 9600)
    port.close()
    assert [call[0] for call in far.method_calls[-2:]] == ["reset_output_buffer", "close"]


def test_close_does_not_wait_for_a_dead_network_port(far: Any) -> None:
    """Over RFC 2217 throwing unsent bytes away is a question to the far end: not asked."""
    port = SerialPort("rfc2217://host:1", 9600)
    port.close()
    far.reset_output_buffer.assert_not_called()
    far.close.assert_called_once()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a pty keeps HUPCL on Linux")
def test_hupcl_is_cleared_so_that_the_next_open_is_quiet() -> None:
    """The flag that drops DTR at the last close is off after opening, and stays off."""
    import pty
    import termios

    far, near = pty.openpty()
    try:
        attributes = termios.tcgetattr(near)
        attributes[2] |= termios.HUPCL
        termios.tcsetattr(near, termios.TCSANOW, attributes)
        assert termios.tcgetattr(near)[2] & termios.HUPCL
        SerialPort(os.ttyname(near), 9600).close()
        assert not termios.tcgetattr(near)[2] & termios.HUPCL
    finally:
        os.close(near)
        os.close(far)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs a pseudo-terminal")
def test_a_second_opener_is_kept_out() -> None:
    """While a port is open, opening it again is refused as busy; afterwards it is free."""
    import pty

    far, near = pty.openpty()
    try:
        first = SerialPort(os.ttyname(near), 9600)
        with pytest.raises(LinkError) as caught:
            SerialPort(os.ttyname(near), 9600)
        assert caught.value.reason is LinkReason.BUSY
        first.close()
    finally:
        os.close(near)
        os.close(far)
