"""Promise 5: the wire is never trusted.

A board that floods, stalls, restarts or lies ends a job with a clear error, or the job is done and
proven; never a hang. Whole loads run here, with each misfortune at many moments.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.loading import Loader
from hostlink.board.profile.file import find_profile
from hostlink.errors import HostlinkError, LinkError, LinkReason, ReadBackError
from hostlink.link.wire import Wire
from hostlink.listing.parse import Line
from hostlink.practice.faults import Faults

Bench = Any
LINES = [f'{10 * number} PRINT "TIDE {number}"' for number in range(1, 13)]
WANTED = {10 * number: f'PRINT "TIDE {number}"'.encode() for number in range(1, 13)}
LONGEST_S = 600.0  # of virtual time, for everything that may go wrong in one load


class Watched:
    """A load on a bench: bounded, and how it ended."""

    def __init__(self, board: Bench) -> None:
        self.board = board
        banner = find_profile("practice").talk.banner.encode()
        self._turns = 0
        self._stop_at = board.clock.now() + LONGEST_S
        board.wire = Wire(board.port, board.clock, banner=banner, cancelled=self._too_long)
        self.error: HostlinkError | None = None
        try:
            dialogue = Dialogue(board.wire, find_profile("practice"))
            dialogue.attach()
            Loader(dialogue, {int(text.split()[0]): Line.from_text(text) for text in LINES}).load()
        except HostlinkError as error:
            self.error = error

    def _too_long(self) -> bool:
        self._turns += 1
        assert self._turns < 400_000, "it goes round without end"
        assert self.board.clock.now() < self._stop_at, "it waits without end"
        return False

    @property
    def loaded(self) -> bool:
        return bool(self.board.machine.basic.lines == WANTED)

    def check(self) -> None:
        """Done and proven, or a clear error; nothing else."""
        if self.error is None:
            assert self.loaded
            return
        assert isinstance(self.error, (LinkError, ReadBackError))
        assert self.error.what.endswith((".", '"'))
        assert self.error.advice
        assert "Traceback" not in str(self.error)


@pytest.fixture
def load(bench: Callable[..., Bench]) -> Callable[..., Watched]:
    """Load LINES into a board with these faults and settings."""
    return lambda faults=None, **settings: Watched(bench(faults=faults, **settings))


def test_promise_5_the_wire_is_never_trusted_but_a_good_one_serves(
    load: Callable[..., Watched],
) -> None:
    """Without any fault the load is done and proven: the checks below can tell the difference."""
    watched = load()
    assert watched.error is None
    assert watched.loaded
    assert watched.board.machine.heard > 225  # the moments below are all within a load


@pytest.mark.one_in(3)
@pytest.mark.parametrize("after", [1, 2, 5, 30, 120, 225])
def test_promise_5_the_wire_is_never_trusted_when_it_floods(
    load: Callable[..., Watched], after: int
) -> None:
    """A board that sends without end, from any moment on: a link error within seconds."""
    watched = load(Faults(flood_after_bytes=after))
    assert isinstance(watched.error, LinkError)
    watched.check()
    assert watched.board.clock.now() < 60


@pytest.mark.parametrize("after", [1, 3, 40, 77, 200, 225])
def test_promise_5_the_wire_is_never_trusted_when_the_board_restarts(
    load: Callable[..., Watched], after: int
) -> None:
    """Memory lost in the middle is noticed: the load starts over and is proven, or says so."""
    watched = load(Faults(restart_after_bytes=after))
    watched.check()
    assert watched.error is None


@pytest.mark.parametrize("every", [7, 50, 211])
def test_promise_5_the_wire_is_never_trusted_but_short_stalls_are_waited_for(
    load: Callable[..., Watched], every: int
) -> None:
    """A processor that stops for a twentieth of a second again and again: done and proven."""
    watched = load(Faults(stall_every_bytes=every, stall_s=0.05))
    assert watched.error is None
    assert watched.loaded


@pytest.mark.parametrize("stall_s", [0.7, 4.0])
@pytest.mark.parametrize("every", [7, 50, 211])
def test_promise_5_the_wire_is_never_trusted_when_it_stalls(
    load: Callable[..., Watched], every: int, stall_s: float
) -> None:
    """A processor that stops again and again: done and proven, or a clear error, in time."""
    load(Faults(stall_every_bytes=every, stall_s=stall_s)).check()


@pytest.mark.parametrize("after", [1, 2, 20, 150, 225])
def test_promise_5_the_wire_is_never_trusted_when_it_is_unplugged(
    load: Callable[..., Watched], after: int
) -> None:
    """Gone at any moment is told as gone."""
    watched = load(Faults(unplug_after_bytes=after))
    assert isinstance(watched.error, LinkError)
    assert watched.error.reason is LinkReason.GONE


@pytest.mark.parametrize("seed", range(4))
def test_promise_5_the_wire_is_never_trusted_but_a_little_damage_is_repaired(
    load: Callable[..., Watched], seed: int
) -> None:
    """One byte in a hundred damaged either way: done and proven; always failing is no pass."""
    watched = load(Faults(seed=seed, to_board=0.01, to_host=0.01))
    assert watched.error is None
    assert watched.loaded


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("rate", [0.2, 1.0])
def test_promise_5_the_wire_is_never_trusted_when_it_damages_bytes(
    load: Callable[..., Watched], rate: float, seed: int
) -> None:
    """However bad the wire: proven, or an error; never a load that only seems done."""
    load(Faults(seed=seed, to_board=rate, to_host=rate)).check()


def spoil(text: bytes) -> bytes:
    """Another text of the same length."""
    return text.replace(b"TIDE 5", b"TIDE 6")


def forget(text: bytes) -> bytes:
    """Nothing is stored of a certain line."""
    return b"" if b"TIDE 5" in text else text


@pytest.mark.parametrize("lie", [spoil, forget])
def test_promise_5_the_wire_is_never_trusted_when_the_board_lies(
    bench: Callable[..., Bench], lie: Callable[[bytes], bytes]
) -> None:
    """A board whose echo and prompt are right but which stores something else is found out, and
    the line is named."""
    board = bench()
    memory = board.machine.basic._state.memory
    put = memory.put
    memory.put = lambda number, text: put(number, lie(text))
    watched = Watched(board)
    assert isinstance(watched.error, ReadBackError)
    assert "50" in watched.error.what


def test_promise_5_the_wire_is_never_trusted_by_a_fast_answer(bench: Callable[..., Bench]) -> None:
    """A far end that says prompts all the time, whatever is typed, proves nothing: an error."""
    board = bench()
    read = board.machine.host_reads
    board.machine.host_reads = lambda now, size: read(now, size) and b"\r\n+ "[:size]
    watched = Watched(board)
    assert watched.error is not None
    watched.check()


def test_promise_5_the_wire_is_never_trusted_to_answer_at_all(load: Callable[..., Watched]) -> None:
    """A board that stands still for longer than anybody waits is an error, long before it moves."""
    watched = load(Faults(stall_every_bytes=1, stall_s=1000.0))
    assert isinstance(watched.error, LinkError)
    assert watched.board.clock.now() < 120
