"""The simulated chip and its program are what they claim: buffers, speeds, restarts, typing."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

MakeBoard = Callable[..., Any]
MEMORY = 999
BOOT = 0x7800


def test_the_receiver_holds_two_bytes_and_one_in_the_shift_register(avr_board: MakeBoard) -> None:
    """A program that polls gets three of the bytes sent while it was busy; the rest are overrun.

    Datasheet 8271H: overrun when two bytes wait, a third stands in the shift register and a new
    start bit comes. Ten bytes take 1.7 ms at 57600 baud, the program is busy for 30.
    """
    board = avr_board(baud=57600, line_ms=30, receive_buffer=0)
    with board.opened() as port:
        heard = port.say(b"1 REM\rABCDEFGHIJ", ends=b"ABC")
        assert heard == b"1 REM\r\n+ ABC"
        assert port.say(b"\x15") == b"\r\n+ "  # nothing else was in store
    counts = board.counts()
    assert (counts.overrun, counts.dropped) == (7, 0)


@pytest.mark.parametrize("size", [8, 64])
def test_the_ring_holds_as_many_bytes_as_it_was_compiled_for(
    size: int, avr_board: MakeBoard
) -> None:
    """Of what comes while a line is stored exactly `size` bytes are kept, the rest counted."""
    board = avr_board(baud=115200, line_ms=30, receive_buffer=size)
    kept, lost = b"x" * size, b"y" * 5
    with board.opened() as port:
        assert port.say(b"1 REM\r" + kept + lost, ends=kept) == b"1 REM\r\n+ " + kept
        assert port.say(b"\x15") == b"\r\n+ "
    counts = board.counts()
    assert (counts.overrun, counts.dropped) == (0, 5)


def test_two_speeds_garble_each_other(avr_board: MakeBoard) -> None:
    """A host at another speed reads no banner; at the right one it does, and is understood."""
    board = avr_board(baud=57600)
    with board.opened(19200) as port:
        board.restart()
        assert b"class" not in port.hear(lambda heard: len(heard) >= 4)
        port.write(b"PRINT ROOM()\r")
        board.pass_time(0.1)  # until all of it has arrived, as it arrives
    with board.opened() as port:
        board.restart()
        port.hear_greeting()
        assert port.say(b"PRINT ROOM()\r") == b"PRINT ROOM()\r\n 999\r\n+ "


def test_typing_can_be_mended_given_up_and_is_bounded(avr_board: MakeBoard) -> None:
    """Erase, cancel and interrupt do what the profile says; a line takes 72 characters."""
    board = avr_board(baud=115200, line_ms=1)
    with board.opened() as port:
        assert port.say(b"10 REM AX\bB\r") == b"10 REM AX\b \bB\r\n+ "
        assert port.say(b"20 REM NO\x15") == b"20 REM NO\r\n+ "
        assert port.say(b"30 REM NO\x03") == b"30 REM NO\r\n+ "
        long = b"40 REM " + b"Z" * 65
        assert port.say(long + b"!!\r") == long + b"\a\a\r\n+ "
        assert port.say(b"list\r") == b"list\r\n10 REM AB\r\n" + long + b"\r\n+ "
        assert port.say(b"10\r40\rLIST\r", b"LIST\r\n+ ")


def test_a_line_that_does_not_fit_is_refused_and_the_old_one_stays(avr_board: MakeBoard) -> None:
    """Memory is full at 999 bytes to the byte; the board says in its own words what is short."""
    board = avr_board(baud=115200, line_ms=1)
    with board.attached() as dialogue:
        for number in range(10, 140, 10):  # 13 lines of 2 + 67 + 1 bytes
            assert dialogue.ask(f"{number} {'A' * 67}").strip() == ""
        assert dialogue.free_memory() == MEMORY - 910
        exact = MEMORY - 910 - 2 - 1 - 30  # text of the last line, beside one of 30 bytes
        assert dialogue.ask("150 " + "A" * 27).strip() == ""
        assert "no: 1 bytes short" in dialogue.ask("200 " + "B" * (exact + 1))
        assert "no: 1 bytes short" in dialogue.ask("201 " + "B" * (exact + 1))
        assert dialogue.ask("200 " + "B" * exact).strip() == ""
        assert dialogue.free_memory() == 0
        assert "no: 1 bytes short" in dialogue.ask("200 " + "C" * (exact + 1))
        assert dialogue.read_listing().lines[200].text == "B" * exact
        assert "no: lines are 1 to 32767" in dialogue.ask("32768 REM")


def test_listing_can_be_interrupted(avr_board: MakeBoard) -> None:
    """The interrupt key ends a long listing, and the board is at its prompt again."""
    board = avr_board(baud=9600, line_ms=0)
    with board.opened() as port:
        for number in (1, 2, 3, 4, 5, 6):
            port.say(b"%d REM %s\r" % (number, b"Q" * 60))
        port.write(b"LIST\r")
        port.hear(lambda heard: b"1 REM Q" in heard)
        assert re.search(rb"halted\r\n\+ $", port.say(b"\x03"))


def test_a_restart_begins_in_the_boot_section(
    workshop: Any, start_board: MakeBoard, avr_board: MakeBoard
) -> None:
    """With its start there, each restart runs the boot section first and says it was external.

    MCUSR: bit 1 is EXTRF (datasheet 8271H). The program at 0 runs after it.
    """
    image = workshop.firmware(BAUD=57600, LINE_MS=1, RX_RING=64)
    images = [(0, image), (BOOT, workshop.first(57600))]
    board = start_board(images, avr_board().profile, start=BOOT)
    board.await_prompt(before=len("<2>"))
    with board.opened() as port:
        for _ in range(2):
            board.restart()
            assert port.hear_greeting().startswith(b"<2>")
    flash = board.flash()
    assert len(flash) == 32 * 1024
    assert flash.startswith(image.read_bytes())
    assert flash[0x7000:BOOT] == b"\xff" * 0x800


def test_an_empty_flash_leads_into_the_boot_section_without_a_restart(
    workshop: Any, start_board: MakeBoard, avr_board: MakeBoard
) -> None:
    """Where there is no program the chip walks up to the boot section: no reset cause is set.

    Empty flash reads FFFF, which is the instruction SBRS (instruction set manual, from memory).
    """
    board = start_board([(BOOT, workshop.first(57600))], avr_board().profile, start=BOOT)
    with board.opened() as port:
        board.restart()
        port.hear(lambda heard: b"<2><0><0>" in heard)
