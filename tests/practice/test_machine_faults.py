"""Planned mishaps of the practice machine: damage, stalls, restarts, floods, an unplugged cable."""

from __future__ import annotations

import pytest

from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings


def typed(machine: Machine, data: bytes, at: float, until: float) -> bytes:
    """Send bytes at a moment, run on, and return everything the board said by the end."""
    machine.run_until(at)
    machine.host_sends(data, at)
    machine.run_until(until)
    return machine.host_reads(until, 1 << 20)


def test_damage_towards_the_board_changes_what_it_stores() -> None:
    """With every byte damaged no line arrives as it was typed."""
    machine = Machine(faults=Faults(seed=3, to_board=1.0))
    typed(machine, b"10 END\r", 0.5, 3.0)
    assert machine.basic.lines.get(10) != b"END"


def test_damage_towards_the_host_leaves_the_board_alone() -> None:
    """The line is stored right, only its echo is wrong."""
    machine = Machine(faults=Faults(seed=3, to_host=1.0))
    said = typed(machine, b"10 END\r", 0.5, 3.0)
    assert machine.basic.lines == {10: b"END"}
    assert b"10 END" not in said


def test_a_stall_takes_the_processor_away() -> None:
    """From the planned byte on nothing comes back until stall_s has passed."""
    settings = BoardSettings(latency_ms=0.0, baud=1_000_000)
    machine = Machine(settings, Faults(stall_every_bytes=3, stall_s=2.0))
    said = typed(machine, b"10 ", 0.5, 2.4)
    assert said == b"+ 10"
    machine.run_until(2.6)
    assert machine.host_reads(2.6, 10) == b" "


def test_a_stall_loses_what_the_buffer_cannot_hold() -> None:
    """Bytes that arrive meanwhile wait in the buffer, and run over behind it."""
    machine = Machine(BoardSettings(receive_buffer=5), Faults(stall_every_bytes=20, stall_s=1.0))
    typed(machine, b"A" * 39, 0.5, 5.0)
    # Byte 20 stands in the buffer itself, so 4 of the 19 behind it find room.
    assert machine.overruns == 19 - 4


def test_a_stall_while_busy_is_not_cut_short() -> None:
    """A stall that begins while a line is stored delays what arrives during it as well."""
    settings = BoardSettings(receive_buffer=0, line_ms=10.0, latency_ms=0.0, baud=1_000_000)
    machine = Machine(settings, Faults(stall_every_bytes=8, stall_s=1.0))
    typed(machine, b"10 END\rX", 0.5, 0.6)  # the 8th byte comes while the line is stored
    said = typed(machine, b"Y", 0.7, 1.4)  # within the stall: nobody takes it
    assert b"Y" not in said
    assert machine.overruns == 1
    assert machine.basic.lines == {}  # storing goes on when the stall is over
    machine.run_until(3.0)
    assert machine.overruns == 2
    assert machine.basic.lines == {10: b"END"}


def test_a_stall_during_a_slow_character_is_not_cut_short() -> None:
    """Time does not run backwards for a byte that comes while the processor stands still."""
    settings = BoardSettings(
        receive_buffer=0, char_ms=50.0, latency_ms=0.0, baud=9600, transmit_buffer=63
    )
    machine = Machine(settings, Faults(stall_every_bytes=2, stall_s=1.0))
    machine.run_until(0.4)
    machine.host_sends(b"AB", 0.4)  # B comes within A's time and is lost; the stall begins
    machine.host_sends(b"D", 0.5)  # within the stall: nobody takes it
    machine.run_until(3.0)
    assert machine.host_reads(3.0, 100) == b"+ A"
    assert machine.overruns == 2


def test_a_flood_begins_where_it_was_planned_and_never_ends() -> None:
    """After that byte the board sends without end, and not before the byte has arrived."""
    machine = Machine(faults=Faults(flood_after_bytes=2))
    machine.run_until(0.4)
    machine.host_reads(0.4, 100)
    assert typed(machine, b"A", 20.0, 21.0) == b"A"
    machine.run_until(30.0)
    machine.host_sends(b"B", 30.0)
    machine.run_until(30.0)
    assert machine.host_reads(30.0, 100) == b""
    machine.run_until(32.0)
    assert len(machine.host_reads(32.0, 1 << 20)) == pytest.approx(2 * 5760, rel=0.02)
    machine.run_until(33.0)
    assert len(machine.host_reads(33.0, 1 << 20)) == pytest.approx(5760, rel=0.02)


def test_a_planned_restart_happens_once() -> None:
    """The board restarts at that byte, and never again."""
    machine = Machine(
        BoardSettings(restart_ms=100.0, bootloader=False), Faults(restart_after_bytes=9)
    )
    said = typed(machine, b"10 END\r", 0.5, 1.0)
    assert machine.basic.lines == {10: b"END"}
    said = typed(machine, b"20 END\r", 1.0, 3.0)
    assert said.count(b"practice board") == 1
    assert 10 not in machine.basic.lines
    said = typed(machine, b"30 END\r" * 5, 3.0, 6.0)
    assert b"practice board" not in said
    assert machine.basic.lines == {30: b"END"}


def test_an_unplugged_board_says_nothing_more() -> None:
    """After the planned byte time passes without a sound."""
    machine = Machine(faults=Faults(unplug_after_bytes=4))
    said = typed(machine, b"10 END\r", 0.5, 3.0)
    assert machine.unplugged
    assert b"END" not in said
    assert machine.run_until(1e6) == 1e6
