"""A bootloader on the simulated chip, spoken to with raw bytes of the published protocol.

The tests' own, and the one from elsewhere that HOSTLINK_BOOTLOADER_HEX names; none is shipped.
Every message is from Atmel AVR061, rev. 2525B, 04/03.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

SPEEDS = (115200, 57600)
TRIES = 8  # of synchronising at one speed; some seconds after a restart it has ended
IN_SYNC, OK, END = b"\x14", b"\x10", b"\x20"
SIGNATURE = b"\x1e\x95\x0f"  # ATmega328P, datasheet 8271H
PAGE = 128  # bytes


class Talk:
    """Messages to the bootloader, each with the answer that it must give."""

    def __init__(self, port: Any, baud: int, clock: Any) -> None:
        self.baud = baud
        self._port = port
        self._clock = clock

    def answers(self, message: bytes, size: int, within_s: float) -> bytes:
        """What comes back to a message: `size` bytes, or fewer when the time is over."""
        self._port.write(message + END)
        heard = b""
        deadline = self._clock.now() + within_s
        while len(heard) < size and self._clock.now() < deadline:
            heard += self._port.read(size - len(heard))
        return heard

    def does(self, message: bytes, data: bytes = b"") -> None:
        """Send a message; in sync, these data and OK must come."""
        expected = IN_SYNC + data + OK
        assert self.answers(message, len(expected), within_s=10) == expected, message[:8]

    def leave(self) -> None:
        """End programming; the firmware must greet and answer then."""
        self.does(b"\x51")
        self._port.hear_greeting()
        assert self._port.say(b"PRINT ROOM()\r") == b"PRINT ROOM()\r\n 999\r\n+ "

    def synchronised(self) -> bool:
        """Restart the chip and get in sync within a few tries."""
        self._port.dtr = False
        self._port.dtr = True
        for _ in range(TRIES):
            if self.answers(b"\x30", 2, within_s=0.2) == IN_SYNC + OK:
                return True
            self._port.reset_input_buffer()
        return False


@pytest.fixture
def talk(bootloader_board: Any) -> Iterator[tuple[Talk, Any]]:
    """A bootloader in sync, at whichever of the usual speeds it has, and its board."""
    for baud in SPEEDS:
        with bootloader_board.opened(baud) as port:
            talk = Talk(port, baud, bootloader_board.clock)
            if talk.synchronised():
                yield talk, bootloader_board
                return
    pytest.fail(f"it does not get in sync at {' or '.join(map(str, SPEEDS))} baud")


def test_a_bootloader_tells_its_chip(talk: tuple[Talk, Any]) -> None:
    """It gets in sync (30 20 -> 14 10), and in programming mode (50 20) gives the chip's signature
    (75 20)."""
    talk[0].does(b"\x30")
    talk[0].does(b"\x50")
    talk[0].does(b"\x75", SIGNATURE)


def test_a_bootloader_writes_a_firmware_that_then_runs(
    talk: tuple[Talk, Any], workshop: Any
) -> None:
    """A firmware written page by page reads back, stands in flash byte by byte, and answers."""
    speaker, board = talk
    before = board.flash()
    image = workshop.firmware(BAUD=speaker.baud, LINE_MS=1, RX_RING=64).read_bytes()
    pages = [image[at : at + PAGE].ljust(PAGE, b"\xff") for at in range(0, len(image), PAGE)]
    size = PAGE.to_bytes(2, "big")
    speaker.does(b"\x50")
    for number, page in enumerate(pages):
        address = b"\x55" + (number * PAGE // 2).to_bytes(2, "little")  # in words
        speaker.does(address)
        speaker.does(b"\x64" + size + b"F" + page)
        speaker.does(address)
        speaker.does(b"\x74" + size + b"F", page)
    flash = board.flash()
    written = b"".join(pages)
    assert flash[: len(written)] == written
    assert flash[len(written) :] == before[len(written) :]
    speaker.leave()
