"""The practice machine: bytes and time in, bytes and time out. All on numbers, nothing waits."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings

Sent = list[tuple[float, bytes]]


class Table:
    """A machine, the time, and everything it said."""

    def __init__(self, settings: BoardSettings, faults: Faults | None = None) -> None:
        self.machine = Machine(settings, faults)
        self.now = 0.0
        self.wait(0.5)  # the first prompt

    def wait(self, seconds: float) -> bytes:
        """Let time pass; what the board said by then."""
        self.now += seconds
        self.machine.run_until(self.now)
        return self.machine.host_reads(self.now, 1 << 20)

    def say(self, data: bytes, seconds: float = 1.0) -> bytes:
        """Send bytes at the speed of the wire, then let time pass."""
        self.machine.host_sends(data, self.now)
        return self.wait(seconds)

    @property
    def lines(self) -> dict[int, bytes]:
        return self.machine.basic.lines


@pytest.fixture
def table() -> Callable[..., Table]:
    """Make a table with a board of these settings, and `faults`."""
    return lambda *, faults=None, **settings: Table(BoardSettings(**settings), faults)


# --- the same again ------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_bytes() -> None:
    """Two boards with one seed and one history answer the same bytes at the same moments."""

    def run(seed: int) -> bytes:
        table = Table(BoardSettings(seed=seed), Faults(seed=seed, to_board=0.02, to_host=0.02))
        return b"".join(table.say(b"PRINT RND(1000)\r") for _ in range(20))

    assert run(7) == run(7)
    assert run(7) != run(8)


# --- the receive buffer --------------------------------------------------------------------------


@pytest.mark.parametrize("buffer", [0, 1, 2, 16, 63])
def test_what_the_buffer_cannot_hold_while_busy_is_lost_and_counted(
    table: Callable[..., Table], buffer: int
) -> None:
    """While a line is stored exactly `receive_buffer` bytes are kept; each further one counts."""
    board = table(receive_buffer=buffer, line_ms=500.0)
    behind = b"X" * 70  # arrives well within the storing time
    assert board.say(b"10 END\r" + behind, 2.0) == b"10 END\r\n+ " + b"X" * buffer
    assert board.machine.overruns == 70 - buffer
    assert board.lines == {10: b"END"}


def test_an_idle_board_takes_bytes_at_wire_speed_without_a_buffer(
    table: Callable[..., Table],
) -> None:
    """With no work between bytes nothing is lost even with no buffer at all."""
    board = table(receive_buffer=0)
    board.say(b"10 PRINT 123456789\r")
    assert board.machine.overruns == 0
    assert board.lines == {10: b"PRINT 123456789"}


def test_storing_takes_the_time_that_is_set(table: Callable[..., Table]) -> None:
    """The prompt comes `line_ms` after the line end, and busy_s adds it up."""
    board = table(line_ms=100.0, latency_ms=0.0, baud=1_000_000)
    assert board.say(b"10 END\r", 0.099).endswith(b"END\r\n")
    assert board.wait(0.01) == b"+ "
    assert board.machine.busy_s == pytest.approx(0.1)


# --- the line editor -----------------------------------------------------------------------------


def test_echo_shows_what_was_taken(table: Callable[..., Table]) -> None:
    """Each byte comes back, the line end as the board's own, then the prompt."""
    assert table().say(b"10 END\r") == b"10 END\r\n+ "


def test_without_echo_only_the_answer_comes(table: Callable[..., Table]) -> None:
    """A board without echo sends the prompt and nothing of what was typed."""
    board = table(echo=False)
    assert board.say(b"10 END\r") == b"+ "
    assert board.say(b"LIST\r") == b"10 END\r\n+ "


def test_a_board_without_prompt_says_nothing_to_a_stored_line(table: Callable[..., Table]) -> None:
    """No echo and no prompt: silence, and the line is stored anyway."""
    board = table(echo=False, prompt=b"")
    assert board.say(b"10 END\r") == b""
    assert board.lines == {10: b"END"}


def test_fold_case_spares_quotes_and_remarks(table: Callable[..., Table]) -> None:
    """Letters become capitals as they are typed, but never inside quotes or remarks."""
    board = table(fold_case=True)
    said = board.say(b'10 print "abc";x: rem keep this\r')
    assert said.startswith(b'10 PRINT "abc";X: REM keep this')
    assert board.lines == {10: b'PRINT "abc";X: REM keep this'}


def test_a_line_longer_than_the_board_takes_rings_and_is_cut(table: Callable[..., Table]) -> None:
    """Beyond `longest_line` every further character is answered by a bell and dropped."""
    board = table(longest_line=10)
    said = board.say(b"10 REM abcdef\r")
    assert said == b"10 REM abc\x07\x07\x07\r\n+ "
    assert board.lines == {10: b"REM abc"}


def test_erase_takes_one_character_back(table: Callable[..., Table]) -> None:
    """Each erase removes one character and wipes it from the screen; an empty line stays so."""
    board = table()
    assert board.say(b"\x0810 EMD\x08\x08ND\r").count(b"\x08 \x08") == 2
    assert board.lines == {10: b"END"}


def test_line_cancel_abandons_the_line(table: Callable[..., Table]) -> None:
    """The line is forgotten and the prompt comes again."""
    board = table()
    assert board.say(b"10 RUBBISH\x15").endswith(b"\r\n+ ")
    board.say(b"20 END\r")
    assert board.lines == {20: b"END"}


def test_a_cr_lf_line_end_counts_once(table: Callable[..., Table]) -> None:
    """A board with a two-byte line end acts on the last byte and ignores the first."""
    board = table(line_end=b"\r\n")
    assert board.say(b"10 END\r\n") == b"10 END\r\n+ "


def test_a_board_may_have_no_line_cancel_erase_or_interrupt(table: Callable[..., Table]) -> None:
    """With these keys left out their bytes mean nothing, and nothing breaks."""
    board = table(line_cancel=b"", erase=b"", interrupt=b"")
    board.say(b"10 \x15\x08\x03END\r")
    assert board.lines == {10: b"END"}


# --- what confirms a line ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line_done", "at_once", "after_storing"),
    [
        ("prompt", b"10 END\r\n", b"+ "),
        ("echo", b"10 END", b"\r\n+ "),
        ("after-prompt", b"10 END\r\n+ ", b""),
    ],
)
def test_line_done_says_what_comes_only_after_storing(
    table: Callable[..., Table], line_done: Any, at_once: bytes, after_storing: bytes
) -> None:
    """In each manner exactly the named part of the answer waits until the line is stored."""
    board = table(line_done=line_done, line_ms=200.0)
    assert board.say(b"10 END\r", 0.19) == at_once
    assert board.lines == {}
    assert board.wait(0.1) == after_storing
    assert board.lines == {10: b"END"}


def test_an_answer_to_the_last_input_is_echoed_in_full(table: Callable[..., Table]) -> None:
    """A program that ends with INPUT leaves no work behind which the late echo could come."""
    board = table(line_done="echo")
    board.say(b"10 INPUT A\r")
    assert board.say(b"RUN\r").endswith(b"? ")
    assert board.say(b"5\r") == b"5\r\n+ "
    assert board.say(b"PRINT A\r") == b"PRINT A\r\n 5\r\n+ "


# --- interrupts ----------------------------------------------------------------------------------


def test_an_interrupt_stops_a_running_program(table: Callable[..., Table]) -> None:
    """It is noticed while the program runs, whatever waits in the buffer."""
    board = table()
    board.say(b"10 GOTO 10\r")
    assert board.say(b"RUN\r", 5.0) == b"RUN\r\n"
    assert board.say(b"\x03") == b"* stopped in 10\r\n+ "


def test_an_interrupt_at_the_prompt_abandons_the_line(table: Callable[..., Table]) -> None:
    """The half-typed line is forgotten."""
    board = table()
    board.say(b"10 RUB")
    assert board.say(b"\x03") == b"\r\n+ "
    board.say(b"20 END\r")
    assert board.lines == {20: b"END"}


def test_an_interrupt_is_answered_after_it_was_sent(table: Callable[..., Table]) -> None:
    """An idle board's answer never comes before the byte that caused it has arrived."""
    board = table(baud=300)
    board.wait(10.0)
    board.machine.host_sends(b"\x03", board.now)
    board.machine.run_until(board.now + 5.0)
    first = board.machine.next_ready
    assert first is not None
    assert first >= board.now + 2 * 10 / 300  # one byte there, one byte back


def test_an_interrupt_stops_a_program_that_waits_for_input(table: Callable[..., Table]) -> None:
    """INPUT ends, and the prompt comes."""
    board = table()
    board.say(b"10 INPUT A\r")
    board.say(b"RUN\r")
    assert b"* stopped in 10\r\n+ " in board.say(b"\x03")


def test_a_loop_of_nothing_does_not_stop_time(table: Callable[..., Table]) -> None:
    """Even with statements that cost nothing an endless program lets time go by."""
    board = table(statement_ms=0.0)
    board.say(b"10 GOTO 10\r")
    board.say(b"RUN\r", 0.1)
    assert b"stopped" in board.say(b"\x03", 0.1)


# --- restart -------------------------------------------------------------------------------------


def test_a_restart_loses_memory_and_shows_the_banner(table: Callable[..., Table]) -> None:
    """After restart_ms comes the banner, then the prompt; the program is gone."""
    board = table(restart_ms=700.0)
    board.say(b"10 END\r")
    board.machine.restart(board.now)
    assert board.wait(0.69) == b""
    assert board.wait(0.5) == b"\r\npractice board, 999 bytes for a program\r\n\r\n+ "
    assert board.lines == {}


def test_what_was_stored_in_eeprom_survives_a_restart(table: Callable[..., Table]) -> None:
    """EEPROM keeps its programs, memory does not."""
    board = table()
    board.say(b"10 REM tide\r")
    board.say(b"STOW TIDE\r", 3.0)
    board.machine.restart(board.now)
    board.wait(2.0)
    assert board.say(b"LIST\r") == b"LIST\r\n+ "
    board.say(b"FETCH TIDE\r")
    assert b"10 REM tide" in board.say(b"LIST\r")


def test_a_stored_program_called_start_runs_by_itself(table: Callable[..., Table]) -> None:
    """After a restart START is fetched and run before the first prompt."""
    board = table()
    board.say(b'10 PRINT "UP"\r')
    board.say(b"STOW START\r", 3.0)
    board.machine.restart(board.now)
    assert board.wait(3.0).endswith(b"\r\nUP\r\n+ ")
    assert board.lines == {10: b'PRINT "UP"'}


def test_a_restart_cuts_long_work_short(table: Callable[..., Table]) -> None:
    """The banner comes restart_ms after the line was pulled, not after the work at hand."""
    board = table(restart_ms=500.0, eeprom_byte_ms=1000.0)
    board.say(b"10 REM a long stay in EEPROM\r")
    board.say(b"STOW TIDE\r")
    board.machine.restart(board.now)
    assert b"practice board" in board.wait(0.6)
    assert board.machine.basic.eeprom == {}


def test_bytes_sent_while_it_starts_are_not_heard(table: Callable[..., Table]) -> None:
    """Nothing typed before the banner reaches the firmware, and nothing of it is an overrun."""
    board = table(restart_ms=1000.0, bootloader=False)
    board.machine.restart(board.now)
    board.machine.host_sends(b"10 END\r", board.now)
    board.wait(2.0)
    assert board.lines == {}
    assert board.machine.overruns == 0


def test_output_under_way_is_cut_by_a_restart(table: Callable[..., Table]) -> None:
    """What the board had not sent yet never comes."""
    board = table(baud=300, restart_ms=1.0, bootloader=False)
    board.say(b'10 PRINT "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"\r', 5.0)
    board.say(b"RUN\r", 0.6)
    board.machine.restart(board.now)
    assert b"AAAA\r\n" not in board.wait(5.0)


# --- listing by pages ----------------------------------------------------------------------------


def test_a_full_page_waits_for_a_key(table: Callable[..., Table]) -> None:
    """After page_lines lines comes the page prompt; any key goes on, also to the next page."""
    board = table(page_lines=2)
    for number in range(1, 6):
        board.say(b"%d END\r" % number)
    assert board.say(b"LIST\r") == b"LIST\r\n1 END\r\n2 END\r\n-- more --"
    assert board.say(b" ") == b"\r\n3 END\r\n4 END\r\n-- more --"
    assert board.say(b" ") == b"\r\n5 END\r\n+ "


def test_no_key_is_wanted_after_the_last_line(table: Callable[..., Table]) -> None:
    """A listing that just fills its page ends with the prompt."""
    board = table(page_lines=2)
    board.say(b"1 END\r")
    board.say(b"2 END\r")
    assert board.say(b"LIST\r").endswith(b"2 END\r\n+ ")


def test_an_interrupt_at_a_full_page_ends_the_listing(table: Callable[..., Table]) -> None:
    """The interrupt is not a key that goes on."""
    board = table(page_lines=1)
    for number in range(1, 4):
        board.say(b"%d END\r" % number)
    board.say(b"LIST\r")
    said = board.say(b"\x03")
    assert b"2 END" not in said
    assert said.endswith(b"+ ")


# --- time of output ------------------------------------------------------------------------------


def test_the_bridge_keeps_bytes_back_for_its_latency(table: Callable[..., Table]) -> None:
    """The host sees a byte latency_ms later than without a bridge."""
    moments = []
    for latency in (0.0, 16.0):
        board = table(latency_ms=latency, baud=9600)
        board.machine.host_sends(b"A", board.now)
        board.machine.run_until(board.now + 1.0)
        moments.append(board.machine.next_ready)
    assert moments[1] - moments[0] == pytest.approx(0.016)
    assert moments[0] == pytest.approx(0.5 + 2 * 10 / 9600)  # there and back


def test_polled_transmit_keeps_the_processor_waiting(table: Callable[..., Table]) -> None:
    """Without a transmit buffer a program that prints takes the wire's time too."""

    def seconds(buffer: int) -> float:
        board = table(baud=300, transmit_buffer=buffer, latency_ms=0.0)
        board.say(b'10 PRINT "ABCDEFGHIJKLMNOPQRSTUVWXYZ":LET A=1:STOW X\r', 9.0)
        board.say(b"RUN\r", 0.0)
        while not board.machine.basic.eeprom:
            board.wait(0.01)
        return board.now

    assert seconds(0) - seconds(63) == pytest.approx(28 * 10 / 300, abs=0.3)


def test_a_full_screen_row_stalls_the_board(table: Callable[..., Table]) -> None:
    """At the screen width the board stops for wrap_ms, and loses what its buffer cannot hold."""
    text = b"10 REM " + b"A" * 50 + b"\r"
    fast = table(receive_buffer=2)
    fast.say(text)
    wrapping = table(receive_buffer=2, screen_width=40, wrap_ms=5.0)
    wrapping.say(text)
    assert fast.machine.overruns == 0
    assert wrapping.machine.overruns > 0


def test_slow_characters_lose_bytes_at_wire_speed(table: Callable[..., Table]) -> None:
    """Where a character takes longer than its time on the wire the buffer runs over."""
    slow = table(char_ms=1.0, receive_buffer=4, baud=57600)
    slow.say(b"10 REM " + b"A" * 40 + b"\r")
    assert slow.machine.overruns > 20


# --- the wrong speed -----------------------------------------------------------------------------


@pytest.mark.parametrize("host_baud", [300, 9600, 19200, 38400, 115200])
def test_at_the_wrong_speed_nothing_is_understood(host_baud: int) -> None:
    """A line typed at another speed is not stored, and what comes back is not what was sent."""
    machine = Machine(BoardSettings(baud=57600), host_baud=host_baud)
    machine.host_sends(b"10 END\r", 0.5)
    machine.run_until(5.0)
    assert machine.basic.lines != {10: b"END"}
    assert b"10 END" not in machine.host_reads(5.0, 1000)


def test_a_speed_within_tolerance_is_understood() -> None:
    """115200 asked for, 2.1 % off as a 16 MHz chip makes it: bytes pass (data sheet value)."""
    machine = Machine(BoardSettings(baud=115200), host_baud=117647)
    machine.host_sends(b"10 END\r", 0.5)
    machine.run_until(2.0)
    assert machine.basic.lines == {10: b"END"}
