"""The practice board's bootloader: strict, punishing, with its own time. Frames made by hand.

The frames are those of Atmel AVR061 (Rev. 2525B, 04/03); what a mistake is answered with is this
board's own where the note leaves it open.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.link.clock import VirtualClock
from hostlink.practice.bootloader import Bootloader, ChipMemories, eeprom_bytes, new_flash
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

SYNC, ENTER = b"\x30\x20", b"\x50\x20"
INSYNC_OK = b"\x14\x10"


class Typist:
    """Sends frames by hand to a bootloader and gives back what it answers."""

    def __init__(self, synced: bool = True, entered: bool = True) -> None:
        self.chip = ChipMemories(new_flash(2048), 0x7800)
        self.boot = Bootloader(self.chip, 0.0, 1.0, 0.0045)
        self.now = 0.0
        if synced:
            assert self.say(SYNC) == INSYNC_OK
        if entered:
            assert self.say(ENTER) == INSYNC_OK

    def say(self, frame: bytes, gap_s: float = 0.0001) -> bytes:
        out = b""
        for byte in frame:
            self.now += gap_s
            for _, data in self.boot.hear(byte, self.now):
                out += data
        self.now += 0.01
        return out

    def page(self, address: int, data: bytes) -> bytes:
        word = address // 2
        self.say(bytes((0x55, word & 0xFF, word >> 8, 0x20)))
        return self.say(b"\x64" + len(data).to_bytes(2, "big") + b"F" + data + b"\x20")


def test_wrong_framing_is_answered_nosync_and_forgotten() -> None:
    """A frame without its end byte changes nothing; the next good one is understood."""
    board = Typist()
    assert board.say(b"\x75\x21") == b"\x15"
    assert board.say(b"\x75\x20") == b"\x14\x1e\x95\x0f\x10"
    assert board.boot.mistakes == 1


def test_line_noise_brings_no_answer_before_the_first_good_frame() -> None:
    """BASIC text that arrives after a restart is not answered, so that no bytes mix into it; but
    "0 " happens to be the get-sync frame, so some text is."""
    board = Typist(synced=False, entered=False)
    assert board.say(b"LIST\rRUN\rNEW\r") == b""
    assert board.boot.mistakes == 0
    assert Typist(synced=False, entered=False).say(b"0 PRINT") == INSYNC_OK + b"\x15\x15"


def test_pages_need_programming_mode() -> None:
    """Without the enter command nothing is read or written, and that is a mistake."""
    board = Typist(entered=False)
    before = bytes(board.chip.flash)
    assert board.page(0, b"\x01" * 128) == b"\x14\x11"
    assert board.say(b"\x75\x20") == b"\x14\x11"
    assert board.say(b"\x74\x00\x80F\x20") == b"\x14\x11"
    assert bytes(board.chip.flash) == before
    assert board.boot.mistakes >= 4


@pytest.mark.parametrize(
    ("address", "size"), [(0x7800, 128), (0x7FFF & ~1, 128), (0x40, 128), (0, 64), (0, 129)]
)
def test_pages_out_of_range_or_not_whole_are_refused(address: int, size: int) -> None:
    """Its own section, past the end, off the page grid, too short or long: FAILED, unchanged."""
    board = Typist()
    before = bytes(board.chip.flash)
    assert board.page(address, b"\x01" * size) == b"\x14\x11"
    assert bytes(board.chip.flash) == before
    assert board.chip.page_writes == {}


def test_reading_past_the_end_is_refused() -> None:
    """A page that would reach beyond flash is not given."""
    board = Typist()
    board.say(b"\x55\xff\x3f\x20")
    assert board.say(b"\x74\x00\x80F\x20") == b"\x14\x11"


def test_an_unknown_command_is_said_to_be_unknown() -> None:
    """A code that is no command is answered so."""
    board = Typist()
    assert board.say(b"\x7f\x20") == b"\x14\x12"


def test_bytes_sent_while_a_page_is_written_are_lost_beyond_two() -> None:
    """The chip is busy for 4.5 ms after a page; its UART holds two bytes, the rest is gone."""
    board = Typist()
    board.say(b"\x55\x00\x00\x20")
    frame = b"\x64\x00\x80F" + b"\x07" * 128 + b"\x20"
    burst = frame + b"\x75\x20\x75\x20"
    out = b""
    for byte in burst:
        board.now += 0.0001
        out += b"".join(data for _, data in board.boot.hear(byte, board.now))
    assert board.boot.overruns == 2
    assert out == b"\x14\x10\x14\x1e\x95\x0f\x10"


def test_a_page_takes_its_time_and_counts_as_wear() -> None:
    """OK comes 4.5 ms after INSYNC; the page's count goes up by one."""
    board = Typist()
    board.say(b"\x55\x40\x00\x20")
    answers = []
    for byte in b"\x64\x00\x80F" + b"\x07" * 128 + b"\x20":
        board.now += 0.0001
        answers += board.boot.hear(byte, board.now)
    (first, insync), (last, ok) = answers
    assert (insync, ok) == (b"\x14", b"\x10")
    assert last - first == pytest.approx(0.0045)
    assert board.chip.page_writes == {1: 1}
    assert board.chip.flash[128:256] == b"\x07" * 128


def test_eeprom_bytes_are_the_slots_with_name_length_and_lines() -> None:
    """One slot: name, 0, length low byte first, then number, text and end of each line."""
    got = eeprom_bytes({"ONE": {10: b"END", 300: b"A"}}, 1024)
    assert got.startswith(b"ONE\0\x0a\x00" + b"\x0a\x00END\r" + b"\x2c\x01A\r" + b"\xff\xff")
    assert len(got) == 1024


# --- on the machine ------------------------------------------------------------------------------


def machine(**settings: Any) -> tuple[Machine, PracticePort, VirtualClock]:
    clock = VirtualClock()
    made = Machine(BoardSettings(**settings), host_baud=settings.pop("host_baud", 115_200))
    return made, PracticePort(made, clock, jump=clock.advance_to), clock


def talk(port: PracticePort, clock: VirtualClock, data: bytes, wait_s: float = 0.05) -> bytes:
    port.write(data)
    clock.sleep(wait_s)
    return port.read(10_000)


def restart(port: PracticePort) -> None:
    port.dtr = False
    port.dtr = True
    port.reset_input_buffer()


def test_the_window_after_a_restart_is_about_a_second() -> None:
    """The bootloader answers within the window; after it the BASIC starts and does not."""
    for wait, answers in ((0.9, True), (1.1, False)):
        _, port, clock = machine()
        restart(port)
        clock.sleep(wait)
        port.reset_input_buffer()
        assert talk(port, clock, SYNC).startswith(INSYNC_OK) == answers


def test_each_good_frame_opens_the_window_again() -> None:
    """As long as frames come within a second of each other the bootloader stays."""
    _, port, clock = machine()
    restart(port)
    for _ in range(5):
        assert talk(port, clock, SYNC) == INSYNC_OK
        clock.sleep(0.9)
    clock.sleep(0.2)
    port.baudrate = 57_600
    clock.sleep(0.1)
    port.reset_input_buffer()
    assert talk(port, clock, b"PRINT 7\r", 0.2) == b"PRINT 7\r\n 7\r\n+ "


def test_at_another_speed_it_hears_nothing_good() -> None:
    """At half its speed the bootloader answers nothing, and at its own it does."""
    _, port, clock = machine(bootloader_baud=57_600)
    restart(port)
    assert talk(port, clock, SYNC) == b""
    restart(port)
    port.baudrate = 57_600
    assert talk(port, clock, SYNC) == INSYNC_OK


def test_leaving_starts_the_basic_with_its_banner() -> None:
    """After the leave command the board says its banner, and is at its prompt."""
    _, port, clock = machine(bootloader_baud=57_600)
    port.baudrate = 57_600  # the program's own speed, so that nothing of the banner is misheard
    restart(port)
    assert talk(port, clock, SYNC) == INSYNC_OK
    heard = talk(port, clock, b"\x51\x20", 0.2)
    assert heard.startswith(INSYNC_OK)
    assert heard.endswith(b" bytes for a program\r\n\r\n+ ")


@pytest.mark.parametrize("first", [b"\xff\xff", b"\xff\xcf"])
def test_without_firmware_the_board_is_mute_but_its_bootloader_answers(first: bytes) -> None:
    """A blank first word or an endless jump: no echo; a restart reaches the bootloader."""
    made, port, clock = machine()
    made.hold_flash(first + bytes(made.chip.flash[2:]))
    port.baudrate = 57_600
    clock.sleep(0.5)
    assert talk(port, clock, b"PRINT 1\r", 0.5) == b""
    restart(port)
    port.baudrate = 115_200
    assert talk(port, clock, SYNC) == INSYNC_OK
    clock.sleep(2.0)
    assert port.read(100) == b""


def test_memory_is_lost_in_the_bootloader_and_eeprom_is_not() -> None:
    """A restart into the bootloader costs the program, not the stored ones."""
    made, port, clock = machine()
    made.basic.eeprom["ONE"] = {10: b"END"}
    port.baudrate = 57_600
    talk(port, clock, b"10 END\r", 0.3)
    assert made.basic.lines
    restart(port)
    clock.sleep(0.2)
    port.in_waiting  # noqa: B018 - looking lets the board's time pass
    assert made.basic.lines == {}
    assert "ONE" in made.basic.eeprom


def test_a_board_without_a_bootloader_does_not_answer() -> None:
    """`bootloader=no` is a board that only restarts."""
    _, port, clock = machine(bootloader=False)
    restart(port)
    assert talk(port, clock, SYNC) == b""


def test_flash_outlives_the_command(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch, flash: Callable[..., bytes]
) -> None:
    """Flash is kept in the board's state file; `fresh` begins with new flash."""
    from hostlink.link.opening import open_port

    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path))
    held = flash()
    port, _ = open_port("practice://red?time=virtual", 57_600)
    port.machine.hold_flash(held)  # type: ignore[attr-defined]
    port.close()
    port, _ = open_port("practice://red?time=virtual", 57_600)
    assert bytes(port.machine.chip.flash) == held  # type: ignore[attr-defined]
    port.close()
    port, _ = open_port("practice://red?time=virtual&fresh", 57_600)
    assert port.machine.chip.flash == new_flash(2048)  # type: ignore[attr-defined]
    port.close()
