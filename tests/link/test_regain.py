"""Getting to a quiet prompt: whatever the board was doing, named rightly, in bounded time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.link.clock import VirtualClock
from hostlink.link.pacing import Pacing
from hostlink.link.regain import FoundState, Regain
from hostlink.practice.faults import Faults

Bench = Any
Make = Callable[..., Bench]
Fit = Callable[..., Pacing]


def regained(board: Bench, pacing: Pacing, *, may_interrupt: bool = False) -> Regain:
    """Run one attempt; what it sent is in the bench's writes from then on."""
    board.writes.clear()
    core: Regain = board.run(Regain(pacing, may_interrupt=may_interrupt), within_s=40)
    return core


def sent(board: Bench) -> bytes:
    """Everything that was sent since."""
    return b"".join(data for _, data in board.writes)


def started(board: Bench, *lines: bytes) -> None:
    """Enter a program line by line, RUN it, and throw away what it says at first."""
    for line in lines:
        board.say(line + b"\r")
    board.say(b"RUN\r", 1.0)


# --- a board at its prompt -----------------------------------------------------------------------


@pytest.mark.parametrize("may_interrupt", [False, True])
def test_an_idle_board_is_found_with_one_byte(
    bench: Make, pacing_for: Fit, may_interrupt: bool
) -> None:
    """The quietest byte brings the prompt; nothing else is sent, nothing interrupted."""
    board = bench()
    core = regained(board, pacing_for(board.machine.settings), may_interrupt=may_interrupt)
    assert core.found is FoundState.PROMPT
    assert not core.interrupted
    assert sent(board) == b"\x15"


def test_a_half_typed_line_is_abandoned_and_not_entered(bench: Make, pacing_for: Fit) -> None:
    """What somebody left at the prompt is cancelled: no line stored, no command run."""
    board = bench()
    board.say(b"10 EN")
    assert regained(board, pacing_for(board.machine.settings)).found is FoundState.PROMPT
    board.say(b"20 END\r")
    assert board.machine.basic.lines == {20: b"END"}


def test_a_terminal_that_only_wipes_the_line_gets_a_line_end_next() -> None:
    """Its answer to the byte that gives up a line is no question: steps back and blanks, as a
    terminal with ECHOKE set sends them (POSIX leaves that to the system)."""
    pacing = Pacing(
        baud=9600, echo=True, line_end=b"\r", reply_end=b"\r\n", prompt=b"> ", line_cancel=b"\x15"
    )
    core = Regain(pacing, may_interrupt=False)
    answers = {b"\x15": b"\b \b" * 4, b"\r": b"\r\n> "}
    sent, coming, now = b"", b"", 0.0
    while not core.done and now < 60:
        step = core.step(now, coming)
        sent += step.write
        coming = answers.get(step.write, b"")
        now += 0.01
    assert core.found is FoundState.PROMPT
    assert sent == b"\x15\r"


def test_a_board_without_line_cancel_gets_a_line_end(bench: Make, pacing_for: Fit) -> None:
    """The only other way to a fresh prompt."""
    board = bench(line_cancel=b"")
    core = regained(board, pacing_for(board.machine.settings))
    assert core.found is FoundState.PROMPT
    assert sent(board) == b"\r"


def test_a_board_without_prompt_is_found_by_its_answer(bench: Make, pacing_for: Fit) -> None:
    """Where the profile has no prompt, an answer followed by quiet is as good."""
    board = bench(prompt=b"")
    assert regained(board, pacing_for(board.machine.settings)).found is FoundState.PROMPT


def test_a_board_that_starts_just_now_is_waited_for(bench: Make, pacing_for: Fit) -> None:
    """A banner and a prompt that come while it listens end in a found prompt."""
    board = bench(restart_ms=100.0, bootloader=False)
    board.machine.restart(board.clock.now())
    core = regained(board, pacing_for(board.machine.settings))
    assert core.found is FoundState.PROMPT
    assert b"practice board" in core.heard


@pytest.mark.parametrize("seed", range(6))
def test_a_lost_byte_does_not_end_the_search(bench: Make, pacing_for: Fit, seed: int) -> None:
    """On a wire that damages one byte in twenty the prompt is still found."""
    board = bench(faults=Faults(seed=seed, to_board=0.05, to_host=0.05))
    core = regained(board, pacing_for(board.machine.settings), may_interrupt=True)
    assert core.found is FoundState.PROMPT


# --- nobody there, or not understood --------------------------------------------------------------


def test_a_board_that_says_nothing_is_silent(script: Any, run_on: Callable[..., Any]) -> None:
    """Not one byte came back, however it was asked."""
    clock = VirtualClock()
    port = script(None, clock)
    core = run_on(port, clock, Regain(Pacing(), may_interrupt=True), 20.0)
    assert core.found is FoundState.SILENT
    assert port.written


@pytest.mark.parametrize("may_interrupt", [False, True])
@pytest.mark.parametrize(
    ("board_baud", "host_baud"), [(9600, 57600), (19200, 115200), (2400, 9600), (9600, 19200)]
)
def test_a_slower_board_is_unreadable(
    bench: Make, pacing_for: Fit, board_baud: int, host_baud: int, may_interrupt: bool
) -> None:
    """At the wrong speed bytes come, hardly any of them text: named so, and no prompt is seen."""
    board = bench(baud=board_baud, host_baud=host_baud)
    board.machine.host_sends(b"\r\r\r", board.clock.now())
    pacing = pacing_for(board.machine.settings, baud=host_baud)
    core = regained(board, pacing, may_interrupt=may_interrupt)
    assert core.found is FoundState.UNREADABLE
    assert core.heard


@pytest.mark.parametrize("board_baud", [300, 2400, 9600, 19200, 38400, 57600, 115200])
@pytest.mark.parametrize("host_baud", [300, 2400, 9600, 19200, 38400, 57600, 115200])
def test_no_wrong_speed_is_taken_for_a_prompt(
    bench: Make, pacing_for: Fit, board_baud: int, host_baud: int
) -> None:
    """Every pair of usual speeds: a prompt is found where they are equal, and nowhere else."""
    board = bench(baud=board_baud, host_baud=host_baud)
    pacing = pacing_for(board.machine.settings, baud=host_baud)
    found = regained(board, pacing).found
    assert (found is FoundState.PROMPT) == (board_baud == host_baud)


def test_trying_at_a_wrong_speed_leaves_the_program_alone(bench: Make, pacing_for: Fit) -> None:
    """What the board makes of the attempt stores and deletes nothing."""
    board = bench(baud=57600, host_baud=9600)
    board.machine.basic._state.memory.put(1, b"REM here")
    before = dict(board.machine.basic.lines)
    regained(board, pacing_for(board.machine.settings, baud=9600))
    assert board.machine.basic.lines == before


# --- a program that runs --------------------------------------------------------------------------

ENDLESS = (b'10 PRINT "ON AND ON"', b"20 GOTO 10")


def test_a_running_program_is_left_running_without_consent(bench: Make, pacing_for: Fit) -> None:
    """Output without end is RUNNING; no interrupt was sent and the program goes on."""
    board = bench()
    started(board, *ENDLESS)
    core = regained(board, pacing_for(board.machine.settings))
    assert core.found is FoundState.RUNNING
    assert not core.interrupted
    assert b"\x03" not in sent(board)
    assert b"ON AND ON" in board.say(b"", 1.0)


def test_a_running_program_is_stopped_with_consent(bench: Make, pacing_for: Fit) -> None:
    """With consent it is interrupted, and the prompt is there; the program is still in memory."""
    board = bench()
    started(board, *ENDLESS)
    core = regained(board, pacing_for(board.machine.settings), may_interrupt=True)
    assert core.found is FoundState.PROMPT
    assert core.interrupted
    assert board.machine.basic.lines == {10: b'PRINT "ON AND ON"', 20: b"GOTO 10"}


def test_a_silently_running_program_is_stopped_with_consent(bench: Make, pacing_for: Fit) -> None:
    """A program that prints nothing is found out by its silence."""
    board = bench()
    started(board, b"10 GOTO 10")
    core = regained(board, pacing_for(board.machine.settings), may_interrupt=True)
    assert core.found is FoundState.PROMPT
    assert core.interrupted


def test_a_silently_running_program_is_silent_without_consent(bench: Make, pacing_for: Fit) -> None:
    """Without consent it cannot be told from a dead board, and it is not interrupted."""
    board = bench()
    started(board, b"10 GOTO 10")
    core = regained(board, pacing_for(board.machine.settings))
    assert core.found is FoundState.SILENT
    assert b"\x03" not in sent(board)


def test_a_board_without_interrupt_byte_is_not_interrupted(bench: Make, pacing_for: Fit) -> None:
    """Consent cannot help where the profile knows no interrupt byte."""
    board = bench()
    started(board, *ENDLESS)
    pacing = pacing_for(board.machine.settings, interrupt=b"")
    core = regained(board, pacing, may_interrupt=True)
    assert core.found is FoundState.RUNNING
    assert not core.interrupted


def test_a_flood_that_no_interrupt_ends_is_stuck(bench: Make, pacing_for: Fit) -> None:
    """A board that does not stop is given up after its tries, within seconds."""
    board = bench(faults=Faults(flood_after_bytes=1))
    board.say(b"A")
    began = board.clock.now()
    core = regained(board, pacing_for(board.machine.settings), may_interrupt=True)
    assert core.found is FoundState.STUCK
    assert board.clock.now() - began < 15


# --- a program that waits in INPUT ----------------------------------------------------------------

ASKING = (b"10 INPUT A", b'20 PRINT "TOOK";A', b"30 GOTO 10")


@pytest.mark.parametrize("may_interrupt", [False, True])
def test_a_program_in_input_gets_no_answer_from_us(
    bench: Make, pacing_for: Fit, may_interrupt: bool
) -> None:
    """Where the profile has a line cancel, no line end is sent: INPUT would take it for 0."""
    board = bench()
    started(board, *ASKING)
    core = regained(board, pacing_for(board.machine.settings), may_interrupt=may_interrupt)
    assert b"\r" not in sent(board)
    assert b"TOOK" not in core.heard


def test_a_program_in_input_is_left_waiting_without_consent(bench: Make, pacing_for: Fit) -> None:
    """RUNNING, not interrupted, and the program still takes its answer afterwards."""
    board = bench()
    started(board, *ASKING)
    core = regained(board, pacing_for(board.machine.settings))
    assert core.found is FoundState.RUNNING
    assert b"\x03" not in sent(board)
    assert b"TOOK 7" in board.say(b"7\r")


def test_a_program_in_input_is_stopped_with_consent(bench: Make, pacing_for: Fit) -> None:
    """One interrupt, and the prompt is there."""
    board = bench()
    started(board, *ASKING)
    core = regained(board, pacing_for(board.machine.settings), may_interrupt=True)
    assert core.found is FoundState.PROMPT
    assert sent(board) == b"\x15\x03"


def test_a_listing_that_waits_for_a_key_is_ended_with_consent(bench: Make, pacing_for: Fit) -> None:
    """A full page is waiting when we come: the prompt is found anyway."""
    board = bench(page_lines=2)
    for number in range(1, 9):
        board.say(b"%d REM\r" % number)
    assert board.say(b"LIST\r").endswith(b"-- more --")
    core = regained(board, pacing_for(board.machine.settings), may_interrupt=True)
    assert core.found is FoundState.PROMPT


# --- it always ends ------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [1, 3, 1000])
def test_it_finds_the_same_however_its_answers_are_cut(size: int) -> None:
    """Whole or byte by byte: the same verdict."""
    core = Regain(Pacing(prompt=b"> ", line_cancel=b"\x15"), may_interrupt=False)
    now = 0.0
    step = core.step(now, b"")
    for _ in range(20):
        if core.done or step.write:
            break
        assert step.wake is not None
        now = step.wake
        step = core.step(now, b"")
    assert step.write == b"\x15"
    answer = b"\r\n> "
    for start in range(0, len(answer), size):
        now += 0.001
        step = core.step(now, answer[start : start + size])
    for _ in range(20):
        if core.done:
            break
        assert step.wake is not None
        now = step.wake
        step = core.step(now, b"")
    assert core.found is FoundState.PROMPT


@settings(deadline=None, derandomize=True, max_examples=150)
@given(
    said=st.lists(st.one_of(st.binary(max_size=8), st.just(b"\r\n> ")), max_size=40),
    gap_s=st.sampled_from([0.0, 0.05, 0.9]),
    may_interrupt=st.booleans(),
    cancel=st.sampled_from([b"", b"\x15"]),
    prompt=st.sampled_from([b"", b"> "]),
)
def test_whatever_is_heard_it_ends(
    said: list[bytes], gap_s: float, may_interrupt: bool, cancel: bytes, prompt: bytes
) -> None:
    """Any bytes at any time: a verdict within seconds after the last, and interrupts only with
    consent."""
    pacing = Pacing(prompt=prompt, line_cancel=cancel)
    core = Regain(pacing, may_interrupt=may_interrupt)
    now = 0.0
    step = core.step(now, b"")
    written = step.write
    for data in said:
        if core.done:
            break
        now += gap_s
        step = core.step(now, data)
        written += step.write
    last = now
    for _ in range(100):
        if core.done:
            break
        assert step.wake is not None
        now = max(now, step.wake)
        step = core.step(now, b"")
        written += step.write
    assert core.done
    assert now - last < 15
    assert may_interrupt or pacing.interrupt not in written
    assert core.interrupted == (pacing.interrupt in written)
