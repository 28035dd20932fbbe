"""Stopping a program: it counts as stopped when the prompt is back, and not before."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from hostlink.link.clock import VirtualClock
from hostlink.link.exchange import Exchange
from hostlink.link.pacing import Pacing
from hostlink.link.stopping import Stopping
from hostlink.link.typed import Outcome, Typed

PROGRAMS = {
    "prints": {10: b'PRINT "X"', 20: b"GOTO 10"},
    "works": {10: b"GOTO 10"},
    "asks": {10: b"INPUT A", 20: b"GOTO 10"},
    "has ended": {10: b'PRINT "X"'},
}


@pytest.fixture
def running(bench: Callable[..., Any], pacing_for: Callable[..., Pacing]) -> Callable[..., Any]:
    """A practice board on which a program was started two seconds ago, and its pacing."""

    def start(program: Mapping[int, bytes], **settings: Any) -> tuple[Any, Pacing]:
        board = bench(**settings)
        board.machine.basic._state.memory.replace(dict(program))
        pacing = pacing_for(board.machine.settings)
        board.run(Typed(b"RUN", pacing))
        board.settle(2.0)
        board.writes.clear()
        return board, pacing

    return start


@pytest.mark.parametrize("program", PROGRAMS)
@pytest.mark.parametrize("manners", [{}, {"echo": False}, {"baud": 1200, "latency_ms": 16.0}])
def test_the_interrupt_stops_a_program(
    program: str, manners: dict[str, Any], running: Callable[..., Any]
) -> None:
    """Whether it prints, works or asks; the board is at its prompt, one byte was sent for it."""
    board, pacing = running(PROGRAMS[program], **manners)
    core = board.run(Stopping(pacing))
    assert core.stopped
    assert [data for _, data in board.writes] == [b"\x03"]
    assert board.machine.basic.lines == PROGRAMS[program]
    answer = board.run(Exchange(b"PRINT 7", pacing))
    assert (answer.outcome, b" 7" in answer.answer) == (Outcome.ANSWERED, True)


def test_input_that_takes_the_interrupt_as_text_is_led_on_and_then_stopped(
    run_on: Callable[..., Any], asking_board: type[Any], asking_pacing: Pacing
) -> None:
    """As measured on such a board: only a number leads on, then byte 3 stops the program."""
    clock = VirtualClock()
    board = asking_board(clock)
    run_on(board, clock, Typed(b"RUN", asking_pacing))
    clock.advance_to(5.0)
    board.read(100)
    core = run_on(board, clock, Stopping(asking_pacing))
    assert core.stopped
    assert board.state == "prompt"
    assert board.answers == [0]
    assert board.commands == []


@pytest.mark.parametrize("asks", [1_000_000, 0])
def test_what_does_not_stop_is_not_called_stopped(
    asks: int, run_on: Callable[..., Any], asking_board: type[Any], asking_pacing: Pacing
) -> None:
    """A program that goes on for ever ends the tries; what the board sent last is known."""
    clock = VirtualClock()
    board = asking_board(clock, asks=asks, silent_s=0.01 if asks else 1e9, deaf_to_interrupt=True)
    run_on(board, clock, Typed(b"RUN", asking_pacing))
    clock.advance_to(5.0)
    board.read(100)
    core = run_on(board, clock, Stopping(asking_pacing), within_s=40.0)
    assert (core.stopped, core.sent) == (False, True)
    assert core.row == (b"?" if asks else b"")
    assert board.state == ("asking" if asks else "running")


def test_nothing_but_the_interrupt_is_typed_at_a_program_that_prints(
    running: Callable[..., Any],
) -> None:
    """Where it goes on printing anyway, no answer and no line end is added to that."""
    program = {10: b'PRINT "+ ";', 20: b'PRINT "X"', 30: b"GOTO 10"}  # with the prompt in it
    board, pacing = running(program, interrupt=b"\x04")
    pacing = dataclasses.replace(pacing, interrupt=b"\x03")
    core = board.run(Stopping(pacing), within_s=20.0)
    assert not core.stopped
    assert core.row.endswith(b"X")
    assert [data for _, data in board.writes] == [b"\x03"] * 3
    assert board.machine.basic.lines == program


def test_a_board_without_an_interrupt_is_left_alone(running: Callable[..., Any]) -> None:
    """Nothing is sent, and nothing is claimed."""
    board, pacing = running(PROGRAMS["works"])
    core = board.run(Stopping(dataclasses.replace(pacing, interrupt=b"")))
    assert (core.stopped, core.sent, board.writes) == (False, False, [])


def test_on_a_board_without_a_prompt_one_interrupt_is_sent(running: Callable[..., Any]) -> None:
    """There it cannot be known whether the program stopped; no number is typed on a guess."""
    board, pacing = running(PROGRAMS["asks"], prompt=b"")
    core = board.run(Stopping(dataclasses.replace(pacing, prompt=b"")))
    assert (core.stopped, core.sent) == (False, True)
    assert [data for _, data in board.writes] == [b"\x03"]
