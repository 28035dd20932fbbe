"""hostlink on a real microcontroller program: loads and saves are proven, pasting loses bytes."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.board.dialogue.loading import Loader
from hostlink.listing.measure import measure
from hostlink.listing.parse import Line, Listing

# The same ways as elsewhere, over a chip that takes its time.
pytestmark = pytest.mark.no_cover

LISTING = Path(__file__).parents[2] / "scripts" / "bench_listing.bas"  # 40 lines, 1,026 bytes
LINE_MS = 40  # the board that redraws its picture after each line
RING = 64
# Baud setting for 16 MHz (UBRR, double speed): sister sheet 2545D, table 84. Double speed where
# its error is smaller, as 57600 and 115200 need.
SETTINGS = {9600: (103, 0), 57600: (34, 1), 115200: (16, 1)}

SPEEDS = pytest.mark.parametrize("baud", SETTINGS)
MakeBoard = Callable[..., Any]


@pytest.fixture(scope="module")
def program() -> dict[int, Line]:
    """The program of the benchmark: line number to line."""
    return Listing.from_text(LISTING.read_text(encoding="ascii")).numbered()


@pytest.mark.one_in(3)
@SPEEDS
def test_loading_and_saving_are_proven_and_lose_nothing(
    baud: int, program: dict[int, Line], avr_board: MakeBoard
) -> None:
    """A paced load and a save end proven at the first try, with not one byte lost on the board.

    The free memory that the board reports is what the byte ledger says.
    """
    board = avr_board(baud=baud, line_ms=LINE_MS, receive_buffer=RING)
    with board.attached() as dialogue:
        began = board.clock.now()
        report = Loader(dialogue, program).load()
        loaded = board.clock.now()
        capture = dialogue.capture()
        saved = board.clock.now()
        free = dialogue.free_memory()
    counts = board.counts()
    print(
        f"{baud} baud: sent in {report.seconds or 0:.2f} s, loaded and proven in "
        f"{loaded - began:.2f} s with {report.repairs} repairs, saved in {saved - loaded:.2f} s by "
        f"{capture.count} captures; lost {counts.lost} of {counts.heard} bytes; the simulation "
        f"took {counts.cpu_ms} ms of processor time"
    )
    assert (report.lines, report.bytes, report.starts) == (40, 1026, 1)
    assert counts.lost == 0
    assert (counts.ubrr, counts.double) == SETTINGS[baud]
    assert not capture.doubt
    assert {n: line.typed for n, line in capture.lines.items()} == {
        n: line.typed for n, line in program.items()
    }
    assert free == measure(Listing(tuple(program.values())), board.profile.rules).free


@pytest.mark.one_in(3)
@SPEEDS
def test_a_raw_paste_of_the_same_listing_loses_bytes(
    baud: int, program: dict[int, Line], avr_board: MakeBoard
) -> None:
    """The same listing sent unpaced into the same board loses bytes and is not what was sent.

    This is why lines are paced.
    """
    board = avr_board(baud=baud, line_ms=LINE_MS, receive_buffer=RING)
    text = b"".join(line.typed.encode() + b"\r" for line in program.values())
    with board.opened() as port:
        port.write(text)
        deadline = board.clock.now() + 30
        while board.counts().heard < len(text) and board.clock.now() < deadline:
            port.read(max(1, port.in_waiting))  # time passes here
        counts = board.counts()
    with board.attached() as dialogue:
        held = dialogue.read_listing().lines
    print(f"{baud} baud: a raw paste of {len(text)} bytes lost {counts.lost}")
    assert counts.heard == len(text)
    assert counts.lost > 0
    assert {n: line.typed for n, line in held.items()} != {
        n: line.typed for n, line in program.items()
    }


def test_a_restart_loses_the_program_and_is_noticed(
    program: dict[int, Line], avr_board: MakeBoard
) -> None:
    """When DTR rises the chip restarts: the banner tells it, the program is gone, all is free."""
    board = avr_board(baud=115200, line_ms=1)
    with board.attached() as dialogue:
        few = dict(list(program.items())[:3])
        Loader(dialogue, few).load()
        assert list(dialogue.read_listing().lines) == list(few)
        assert not dialogue.restarted()
        dialogue.wire.port.dtr = False
        dialogue.wire.port.dtr = True
        dialogue.attach()
        assert dialogue.wire.health.restarts == 1
        assert dialogue.read_listing().lines == {}
        assert dialogue.free_memory() == 999


def test_a_difference_is_loaded_over_what_the_board_holds(
    program: dict[int, Line], avr_board: MakeBoard
) -> None:
    """Lines that differ are replaced, strays deleted, and the result is proven by the board."""
    board = avr_board(baud=115200, line_ms=2)
    few = dict(list(program.items())[:4])
    first, second, *_ = few
    other = {**few, first: Line.from_text(f"{first} REM OTHER"), 5: Line.from_text("5 REM STRAY")}
    del other[second]
    with board.attached() as dialogue:
        Loader(dialogue, other).load()
        held = dialogue.capture().lines
        Loader(dialogue, few).load(held)
        assert {n: line.typed for n, line in dialogue.capture().lines.items()} == {
            n: line.typed for n, line in few.items()
        }
    assert board.counts().lost == 0


def test_a_profile_that_promises_too_large_a_buffer_still_ends_proven(
    program: dict[int, Line], avr_board: MakeBoard
) -> None:
    """Where the board keeps fewer bytes than its profile says, lines are damaged, and repaired."""
    board = avr_board(baud=115200, line_ms=15, receive_buffer=8)
    talk = dataclasses.replace(board.profile.talk, receive_buffer=64, line_window=0)
    board.profile = dataclasses.replace(board.profile, talk=talk)
    few = dict(list(program.items())[:12])
    with board.attached() as dialogue:
        report = Loader(dialogue, few).load()
        held = dialogue.capture().lines
    lost = board.counts().lost
    print(f"a promise of 64 bytes for 8: lost {lost} bytes, {report.repairs} repairs")
    assert lost > 0
    assert report.repairs > 0
    assert {n: line.typed for n, line in held.items()} == {n: line.typed for n, line in few.items()}
