"""Time is the caller's: many small steps and one big one are the same run of the machine."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

TYPED = [
    b"10 PRINT 1\r",
    b"20 INPUT A\r",
    b"30 GOTO 10\r",
    b"10 \x08\x15",
    b"LIST\r",
    b"RUN\r",
    b"5\r",
    b"\x03",
    b"STOW X\r",
    b"FETCH X\r",
    b"PRINT RND(9)\r",
    b"\r",
]

BOARDS = st.builds(
    BoardSettings,
    baud=st.sampled_from([300, 9600, 57600]),
    latency_ms=st.sampled_from([0.0, 1.0, 16.0]),
    receive_buffer=st.sampled_from([0, 1, 2, 63]),
    transmit_buffer=st.sampled_from([0, 4, 63]),
    echo=st.booleans(),
    line_done=st.sampled_from(["echo", "prompt", "after-prompt"]),
    char_ms=st.sampled_from([0.0, 0.3, 2.0, 50.0]),
    screen_width=st.sampled_from([0, 5]),
    wrap_ms=st.just(4.0),
    page_lines=st.sampled_from([0, 1]),
    restart_ms=st.sampled_from([10.0, 300.0]),
    bootloader=st.booleans(),
)
MISHAPS = st.builds(
    Faults,
    seed=st.integers(0, 99),
    to_board=st.sampled_from([0.0, 0.05]),
    to_host=st.sampled_from([0.0, 0.05]),
    stall_every_bytes=st.sampled_from([0, 1, 3, 7]),
    stall_s=st.sampled_from([0.003, 0.2]),
    restart_after_bytes=st.sampled_from([0, 0, 5]),
    unplug_after_bytes=st.sampled_from([0, 0, 20]),
    flood_after_bytes=st.sampled_from([0, 0, 15]),
)
# Moments on a grid that is no multiple of a byte time, and what is typed then (b"" restarts).
EVENTS = st.lists(
    st.tuples(st.integers(0, 40), st.sampled_from([*TYPED, b""])), min_size=1, max_size=8
)
END_S = 3.0


@settings(max_examples=4 * settings().max_examples, deadline=None, derandomize=True)
@given(board=BOARDS, faults=MISHAPS, events=EVENTS, step_ms=st.integers(1, 60))
def test_many_small_steps_are_one_big_step(
    board: BoardSettings, faults: Faults, events: list[tuple[int, bytes]], step_ms: int
) -> None:
    """Stopping at many moments in between changes neither a byte nor the state at the end."""

    def run(step_s: float) -> tuple[object, ...]:
        machine = Machine(board, faults)
        due = sorted([(at * 0.0617, data) for at, data in events], key=lambda event: event[0])
        moment = 0.0
        while moment < END_S:
            moment = min(moment + step_s, END_S)
            while due and due[0][0] <= moment:
                at, data = due.pop(0)
                machine.run_until(at)
                if data:
                    machine.host_sends(data, at)
                else:
                    machine.restart(at)
            machine.run_until(moment)
        return (
            machine.host_reads(END_S, 1 << 20),
            machine.basic.to_state(),
            machine.overruns,
            machine.heard,
            machine.unplugged,
            machine.busy_s,
            machine.next_ready,
        )

    assert run(step_ms / 1000) == run(END_S)


@settings(max_examples=2 * settings().max_examples, deadline=None, derandomize=True)
@given(board=BOARDS, faults=MISHAPS, events=EVENTS)
def test_nothing_is_said_before_it_can_be(
    board: BoardSettings, faults: Faults, events: list[tuple[int, bytes]]
) -> None:
    """Bytes from the board become readable in order, and none in a past that was looked at."""
    machine = Machine(board, faults)
    due = sorted([(at * 0.0617, data) for at, data in events], key=lambda event: event[0])
    now = 0.0
    while now < END_S:
        now += 0.0103
        while due and due[0][0] <= now:
            at, data = due.pop(0)
            machine.run_until(at)
            machine.host_sends(data, at)
        machine.run_until(now)
        machine.host_reads(now, 1 << 20)
        upcoming = machine.next_ready
        assert upcoming is None or upcoming > now
