"""Line and bridge values against their published sources: what our opener asks a port for.

The far end of the network port is pyserial's RFC 2217 server; what is sent to it is read here by
the RFC's own numbers. What the system is asked for a device is read from the call itself, since a
pseudo-terminal forgets part of it.
"""

from __future__ import annotations

import os
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import serial
import serial.rfc2217

from hostlink.link import sender
from hostlink.link.pacing import BITS_PER_BYTE, Pacing
from hostlink.link.serial_port import SerialPort
from hostlink.practice import uart

BAUD = 19_200
LONGEST_S = 60.0  # a bound, not a wait

# RFC 854 (May 1983): the escape before a command, and what encloses a subnegotiation.
IAC, SB, SE = 255, 250, 240
# RFC 2217 (October 1997), sections 2 and 3: the option, and the client's commands.
COM_PORT_OPTION = 44
SET_BAUDRATE, SET_DATASIZE, SET_PARITY, SET_STOPSIZE, SET_CONTROL = 1, 2, 3, 4, 5
PARITY_NONE, STOP_ONE = 1, 1
DTR_ON, DTR_OFF, BREAK_ON = 8, 9, 5


class Caller:
    """The server's side of the connection; keeps what the client sent."""

    def __init__(self, connection: socket.socket) -> None:
        self.write = connection.sendall


class FarEnd:
    """A server for one caller. asked: each (command, its value) in the order in which it came."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(LONGEST_S)
        self._heard = bytearray()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    @property
    def address(self) -> str:
        return f"rfc2217://127.0.0.1:{self._listener.getsockname()[1]}"

    def asked(self) -> list[tuple[int, bytes]]:
        """Wait until the caller has gone, then read what it sent by the RFC's rules."""
        self._thread.join(LONGEST_S)
        assert not self._thread.is_alive()
        self._listener.close()
        parts = bytes(self._heard).split(bytes([IAC, SB, COM_PORT_OPTION]))[1:]
        said = [part.split(bytes([IAC, SE]))[0] for part in parts]
        return [(each[0], each[1:].replace(bytes([IAC, IAC]), bytes([IAC]))) for each in said]

    def _serve(self) -> None:
        connection, _ = self._listener.accept()
        connection.settimeout(LONGEST_S)
        with connection, serial.serial_for_url("loop://", timeout=0) as port:
            manager = serial.rfc2217.PortManager(port, Caller(connection))
            while data := connection.recv(256):
                self._heard += data
                list(manager.filter(data))


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> dict[int, list[bytes]]:
    """What our port asks the far end for: by command, the values in order."""
    # pyserial waits 0.3 s at each close of a network port; here nobody connects again.
    monkeypatch.setattr("serial.rfc2217.time.sleep", lambda _: None)
    far = FarEnd()
    port = SerialPort(far.address, BAUD)
    port.dtr = False
    port.dtr = True
    port.close()
    found: dict[int, list[bytes]] = {}
    for command, value in far.asked():
        found.setdefault(command, []).append(value)
    return found


pytestmark = pytest.mark.filterwarnings(
    "ignore:set(Daemon|Name):DeprecationWarning"
)  # pyserial 3.5 starts its network reader by a call that Python has deprecated


def test_the_far_end_is_asked_for_our_speed(asked: dict[int, list[bytes]]) -> None:
    """The speed goes as four bytes in network order (RFC 2217, section 3, SET-BAUDRATE)."""
    assert set(asked[SET_BAUDRATE]) == {BAUD.to_bytes(4, "big")}


def test_the_far_end_is_asked_for_the_frame_that_is_counted(asked: dict[int, list[bytes]]) -> None:
    """Eight data bits, no parity, one stop bit (RFC 2217, section 3): with the start bit ten.

    Both sides of the line count those ten: the pacing and the practice board's line.
    """
    assert set(asked[SET_DATASIZE]) == {bytes([8])}
    assert set(asked[SET_PARITY]) == {bytes([PARITY_NONE])}
    assert set(asked[SET_STOPSIZE]) == {bytes([STOP_ONE])}
    data_bits, stop_bits = asked[SET_DATASIZE][-1][0], asked[SET_STOPSIZE][-1][0]
    assert 1 + data_bits + stop_bits == BITS_PER_BYTE == uart.BITS_PER_BYTE


def test_the_restart_line_is_dropped_and_raised_by_the_published_values(
    asked: dict[int, list[bytes]],
) -> None:
    """SET-CONTROL 9 drops DTR and 8 raises it; no break is asked for (RFC 2217, section 3)."""
    controls = [value[0] for value in asked[SET_CONTROL]]
    assert [each for each in controls if each in (DTR_ON, DTR_OFF)][-2:] == [DTR_OFF, DTR_ON]
    assert BREAK_ON not in controls


@pytest.fixture
def device_flags(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], list[int]]]:
    """Opens a device by our opener: the control flags that the system was asked for each time."""
    import pty
    import termios

    far, near = pty.openpty()
    flags: list[int] = []
    ask_the_system = termios.tcsetattr

    def noted(descriptor: int, when: int, attributes: list[Any]) -> None:
        flags.append(attributes[2])
        ask_the_system(descriptor, when, attributes)

    def open_it() -> list[int]:
        monkeypatch.setattr(termios, "tcsetattr", noted)
        SerialPort(os.ttyname(near), BAUD).close()
        return flags

    yield open_it
    os.close(near)
    os.close(far)


@pytest.mark.skipif(sys.platform == "win32", reason="termios is POSIX only")
def test_a_device_is_asked_for_the_same_frame(device_flags: Callable[[], list[int]]) -> None:
    """CS8 of CSIZE, neither PARENB nor CSTOPB, and no flow control (POSIX 2018, termios.h)."""
    import termios

    flags = device_flags()
    assert flags
    for each in flags:
        assert each & termios.CSIZE == termios.CS8
        assert not each & (termios.PARENB | termios.CSTOPB)
        assert not each & getattr(termios, "CRTSCTS", 0)


@pytest.mark.parametrize(
    ("baud", "bytes_a_second"), [(300, 30), (9600, 960), (57600, 5760), (115200, 11520)]
)
def test_characters_a_second_at_8n1(baud: int, bytes_a_second: int) -> None:
    """9600 baud carries 960 characters a second, 115200 carries 11,520. Source: derived."""
    assert 1 / Pacing(baud=baud).byte_s == pytest.approx(bytes_a_second)
    assert 1 / uart.byte_time(baud) == pytest.approx(bytes_a_second)


def test_a_kibibyte_at_9600_takes_1_0667_seconds() -> None:
    """Source: derived, 10,240 bits at 9600 a second."""
    assert 1024 * Pacing(baud=9600).byte_s == pytest.approx(1.0667, abs=5e-5)


def test_dc1_resumes_and_dc3_pauses() -> None:
    """Device controls 1 and 3 of ASCII, 0x11 and 0x13, as pyserial names them too (READ there).

    The use of DC1 for resume and DC3 for pause: ECMA-48 (1991), 8.3.28 and 8.3.30 (from memory).
    """
    assert (sender._XON, sender._XOFF) == (0x11, 0x13)
    assert (serial.XON, serial.XOFF) == (b"\x11", b"\x13")
