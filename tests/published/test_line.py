"""Line and bridge values against their published sources."""

from __future__ import annotations

import pytest
import serial
import serial.rfc2217 as rfc2217

from hostlink.link import sender
from hostlink.link.pacing import BITS_PER_BYTE, Pacing
from hostlink.practice import uart


@pytest.mark.parametrize(
    ("data_bits", "parity_bits", "stop_bits", "total"),
    [(8, 0, 1, 10), (7, 1, 1, 10), (8, 1, 1, 11), (8, 0, 2, 11)],
)
def test_bits_of_a_character(data_bits: int, parity_bits: int, stop_bits: int, total: int) -> None:
    """A start bit, the data, the parity, the stop bits. Source: derived from the frame itself."""
    assert 1 + data_bits + parity_bits + stop_bits == total
    if (data_bits, parity_bits, stop_bits) == (8, 0, 1):  # ours, on both sides of the line
        assert total == BITS_PER_BYTE == uart.BITS_PER_BYTE


def test_the_port_is_opened_with_the_frame_that_is_counted() -> None:
    """pyserial's own defaults are 8N1, and nothing of ours changes them."""
    port = serial.Serial()
    assert (port.bytesize, port.parity, port.stopbits) == (8, "N", 1)


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


def test_rfc_2217_numbers() -> None:
    """Option 44 and its commands: RFC 2217 (October 1997), sections 2 and 3, in pyserial's words.

    The numbers beside each name were taken from the RFC's table; the server answers with 100 more.
    """
    assert bytes([44]) == rfc2217.COM_PORT_OPTION
    commands = {"SET_BAUDRATE": 1, "SET_DATASIZE": 2, "SET_PARITY": 3, "SET_STOPSIZE": 4}
    commands |= {"SET_CONTROL": 5, "PURGE_DATA": 12}
    for name, number in commands.items():
        assert getattr(rfc2217, name) == bytes([number]), name
        assert getattr(rfc2217, f"SERVER_{name}") == bytes([number + 100]), name
    assert (bytes([8]), bytes([9])) == (rfc2217.SET_CONTROL_DTR_ON, rfc2217.SET_CONTROL_DTR_OFF)
    assert (rfc2217.SET_CONTROL_BREAK_ON, rfc2217.SET_CONTROL_BREAK_OFF) == (b"\x05", b"\x06")
