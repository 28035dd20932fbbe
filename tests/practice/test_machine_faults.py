"""Planned mishaps of the practice machine: damage, stalls, restarts, floods, an unplugged cable."""

from __future__ import annotations

import pytest

from hostlink.practice.bootloader import Bootloader
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


# --- what the board says of itself ---------------------------------------------------------------


def listed(machine: Machine, *, times: int = 1, ask: bytes = b"LIST\r") -> list[list[bytes]]:
    """The rows that come back from so many LISTs, without echo and prompt."""
    found = []
    for turn in range(times):
        said = typed(machine, ask, 10.0 * (turn + 1), 10.0 * (turn + 1) + 5)
        _, _, rows = said.partition(b"\r\n")
        found.append(rows.split(b"\r\n")[:-1])
    return found


def holding_three(faults: Faults, settings: BoardSettings | None = None) -> Machine:
    """A board with the lines 10, 20 and 30."""
    machine = Machine(settings, faults)
    lines = {"10": "LET A=1", "20": "LET B=2", "30": "END"}
    machine.basic.from_state({**machine.basic.to_state(), "lines": lines})
    return machine


TRUE = [b"10 LET A=1", b"20 LET B=2", b"30 END"]


def test_a_line_is_left_out_of_every_listing_or_of_some() -> None:
    """The board still holds it; with lies_every it is left out now and then."""
    machine = holding_three(Faults(skipped_line=2))
    assert listed(machine, times=2) == [[TRUE[0], TRUE[2]]] * 2
    assert 20 in machine.basic.lines
    now_and_then = holding_three(Faults(skipped_line=2, lies_every=2))
    assert listed(now_and_then, times=4) == [TRUE, [TRUE[0], TRUE[2]]] * 2


def test_a_line_is_listed_twice() -> None:
    """Once more right behind itself; a place that no line has changes nothing."""
    assert listed(holding_three(Faults(repeated_line=3))) == [[*TRUE, TRUE[2]]]
    assert listed(holding_three(Faults(repeated_line=4, skipped_line=4))) == [TRUE]


def test_a_listing_is_refused_or_empty_at_first() -> None:
    """So many times, with words that are none of the board's usual ones, or with nothing."""
    refused = holding_three(Faults(refused_lists=2))
    assert listed(refused, times=3) == [[b"WHAT?"], [b"WHAT?"], TRUE]
    assert refused.basic.teller.lists == 3
    assert listed(holding_three(Faults(empty_lists=1)), times=2) == [[], TRUE]


def test_too_little_is_called_free() -> None:
    """By so many bytes, and never less than none."""
    for off, free in ((0, 999 - 26), (26, 999 - 52), (5000, 0)):
        machine = holding_three(Faults(free_bytes_off=off))
        assert listed(machine, ask=b"PRINT ROOM()\r") == [[b" %d" % free]]
        assert machine.basic.free() == 999 - 26


def test_its_words_may_carry_control_characters() -> None:
    """Behind every word of error: a display would be cleared by it (ECMA-48, ED)."""
    for escapes, end in ((True, b"\x1b[2J\x07"), (False, b"")):
        said = typed(holding_three(Faults(escapes=escapes)), b"JUMP\r", 0.5, 3.0)
        assert b"! unknown statement JUMP" + end + b"\r\n" in said


def test_a_prompt_comes_late_or_before_the_answer() -> None:
    """Late: what comes meanwhile waits in the buffer. First: none stands behind the answer."""
    late = holding_three(Faults(), BoardSettings(prompt_late_ms=400.0))
    said = typed(late, b"LIST\r", 0.5, 0.8)
    assert said.endswith(b"30 END\r\n")
    late.run_until(2.0)
    assert late.host_reads(2.0, 100) == b"+ "
    first = holding_three(Faults(), BoardSettings(prompts_first=True))
    said = typed(first, b"LIST\r", 0.5, 3.0)
    assert said == b"+ LIST\r\n+ " + b"".join(row + b"\r\n" for row in TRUE)
    assert typed(first, b"40 END\r", 4.0, 6.0) == b"40 END\r\n+ "  # a stored line as ever


def test_what_was_typed_and_what_restarts_erased_is_known() -> None:
    """Every line that was taken, and of each restart who did it and what memory held."""
    machine = holding_three(Faults(restart_after_bytes=12))
    typed(machine, b"NEW\r40 END\r", 0.5, 3.0)
    machine.restart(4.0)
    typed(machine, b"X", 6.0, 9.0)
    assert machine.typed == [b"NEW", b"40 END"]
    pulled, mishap = machine.erased
    assert (pulled.at, pulled.pulled, pulled.lines) == (4.0, True, {40: b"END"})
    assert (mishap.pulled, mishap.lines) == (False, {})


def test_a_worn_page_of_flash_keeps_its_first_byte() -> None:
    """It is answered well and reads back wrong, as cells do that are worn out."""
    worn, sound = (Machine(faults=Faults(worn_page=page)) for page in (2, 0))
    for machine in (worn, sound):
        boot = Bootloader(machine.chip, 0.0, 60.0, 0.0045)
        for frame in (
            b"\x30 ",
            b"\x50 ",
            b"\x55\x40\x00 ",
            b"\x64\x00\x80F" + b"\xaa" * 128 + b" ",
        ):
            answers = [each for byte in frame for each in boot.hear(byte, 1.0)]
        assert [data for _, data in answers] == [b"\x14", b"\x10"]
    before = Machine().chip.flash[128]
    assert worn.chip.flash[128:256] == bytes([before]) + b"\xaa" * 127
    assert sound.chip.flash[128:256] == b"\xaa" * 128
