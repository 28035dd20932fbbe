"""The pump: bytes counted and recorded, restarts noticed, cancelling heard, time never wasted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.errors import Interrupted
from hostlink.link.clock import RealClock, VirtualClock
from hostlink.link.core import Step
from hostlink.link.wire import Wire


class Listener:
    """A core that only listens, until a moment."""

    def __init__(self, until: float) -> None:
        self.until = until
        self.heard = b""
        self.steps = 0
        self.done = False

    def step(self, now: float, received: bytes) -> Step:
        self.steps += 1
        self.heard += received
        self.done = now >= self.until
        return Step(b"", self.until)


class Once:
    """A core that writes once and is done."""

    done = True

    def step(self, _now: float, _received: bytes) -> Step:
        return Step(b"HELLO")


def test_a_quiet_minute_is_two_steps(bench: Callable[..., Any]) -> None:
    """On a virtual clock nothing is polled: the core is called at the start and at its moment."""
    board = bench()
    core = board.run(Listener(60.0))
    assert core.steps == 2
    assert board.clock.now() == 60.0


def test_bytes_wake_the_core_before_its_moment(bench: Callable[..., Any]) -> None:
    """What comes in is handed over as it comes, in order."""
    board = bench(settled=False)
    core = board.run(Listener(1.0))
    assert core.heard == b"+ "


def test_everything_that_passes_is_counted(bench: Callable[..., Any]) -> None:
    """Bytes out and in."""
    board = bench()
    board.wire.write(b"10 END\r")
    board.run(Listener(board.clock.now() + 1.0))
    assert board.wire.health.bytes_out == 7
    assert board.wire.health.bytes_in == len(b"10 END\r\n+ ")


def test_the_last_write_of_a_core_goes_out(script: Any) -> None:
    """A core that is done at once still gets its bytes sent."""
    port = script(None, VirtualClock())
    Wire(port, VirtualClock()).run(Once())
    assert bytes(port.written) == b"HELLO"


@pytest.mark.parametrize("banner", [b"practice board", b"p"])
def test_a_restart_is_noticed_by_its_banner_however_it_is_cut(script: Any, banner: bytes) -> None:
    """The banner counts once, whether it comes whole, by bytes, or cut anywhere."""
    text = b"\r\n" + banner + b", 999 bytes\r\n"
    for size in range(1, len(text) + 1):
        clock = VirtualClock()
        port = script(None, clock)
        wire = Wire(port, clock, banner=banner)
        for start in range(0, len(text), size):
            port.say(text[start : start + size])
            wire.receive(clock.now())
        assert wire.health.restarts == text.count(banner), size


@pytest.mark.parametrize(
    ("row", "restarts"),
    [
        (b"}ractice board, 999 bytes", 1),
        (b"practie board, 999 bytes", 1),
        (b"ractice board, 999 bytes", 1),
        (b"pracctice board, 999 bytes", 1),
        (b"10 END\xffpractice boar\n, 999 bytes", 0),
        (b"practise boards, 999 bytes", 0),
        (b"10 PRINT board", 0),
        (b"\xff\x00practice board, 999 bytes", 1),
        (b"20 GOTpractice board, 999 bytes", 1),
        (b'10 PRINT "practice board, 999 bytes"', 0),
        (b'+ 10 PRINT "TIDE";"practise board, 999 bytes"', 0),
        (b"10 rem practice board, 999 bytes", 0),
        (b"practice board, practice board,", 1),
    ],
)
def test_a_restart_is_noticed_though_one_byte_of_its_banner_was_damaged(
    script: Any, row: bytes, restarts: int
) -> None:
    """Lost, doubled or another (the backup of a board that had lost its memory
    was called done). Two damaged bytes, or something else, are no banner; nor is the same text in
    a program that is listed or echoed, which could else be neither loaded nor saved."""
    text = b"\r\n" + row + b"\r\n+ "
    for size in (1, 5, 99):
        clock = VirtualClock()
        port = script(None, clock)
        wire = Wire(port, clock, banner=b"practice board,")
        for start in range(0, len(text), size):
            port.say(text[start : start + size])
            wire.receive(clock.now())
        assert wire.health.restarts == restarts, size


def test_no_banner_no_restarts(script: Any) -> None:
    """A board without a banner in its profile is never said to have restarted."""
    clock = VirtualClock()
    port = script(None, clock)
    wire = Wire(port, clock)
    port.say(b"anything at all")
    wire.receive(0.0)
    assert wire.health.restarts == 0


def test_cancelling_is_heard_on_the_next_turn(bench: Callable[..., Any]) -> None:
    """The job ends with Interrupted before anything more is read."""
    board = bench()
    board.wire.cancelled = lambda: True
    with pytest.raises(Interrupted):
        board.wire.run(Listener(60.0))
    assert board.clock.now() < 1.0


class Polled:
    """A port without a clock of its own, with bytes at a moment; counts how often it is asked."""

    timeout = 0.05
    dtr = True

    def __init__(self, clock: VirtualClock, at: float) -> None:
        self._clock = clock
        self._at = at
        self.asked = 0

    @property
    def in_waiting(self) -> int:
        self.asked += 1
        return 1 if self._clock.now() >= self._at else 0

    def read(self, size: int = 1) -> bytes:
        assert size == 1
        return b"A"

    def write(self, data: bytes) -> int:
        return len(data)

    def reset_input_buffer(self) -> None: ...

    def close(self) -> None: ...


def test_an_ordinary_port_is_looked_at_each_millisecond() -> None:
    """Bytes are fetched within a millisecond of their coming, without a blocking read."""
    clock = VirtualClock()
    port = Polled(clock, 0.02)
    wire = Wire(port, clock)
    assert wire.receive(10.0) == b"A"
    assert clock.now() == pytest.approx(0.02, abs=0.0011)
    assert port.asked < 40


def test_a_quiet_port_is_asked_less_often_until_something_is_sent() -> None:
    """An idle board costs no more than some thirty looks a second; traffic restores the rest."""
    clock = VirtualClock()
    port = Polled(clock, 99.0)
    wire = Wire(port, clock)
    clock.sleep(5.0)
    port.asked = 0
    while clock.now() < 6.0:
        wire.receive(6.0)
    assert port.asked < 70  # twice in each wait: it ends by its time, and is looked at once more
    wire.write(b"A")
    port.asked = 0
    wire.receive(clock.now() + 0.02)
    assert port.asked >= 20


def test_an_ordinary_port_is_never_waited_for_longer_than_its_timeout() -> None:
    """So that cancelling is heard soon: one turn lasts no longer than 0.05 s."""
    clock = VirtualClock()
    wire = Wire(Polled(clock, 99.0), clock)
    assert wire.receive(10.0) == b""
    assert clock.now() == pytest.approx(0.05, abs=0.0011)


def test_a_moment_that_is_due_sooner_ends_the_wait_sooner() -> None:
    """An action due within the read timeout is not late by more than a millisecond."""
    clock = VirtualClock()
    wire = Wire(Polled(clock, 99.0), clock)
    wire.receive(0.0105)
    assert clock.now() == pytest.approx(0.0105, abs=0.0011)


def test_clocks_only_go_forward() -> None:
    """A virtual clock is set forward, never back, and the real one sleeps no negative time."""
    clock = VirtualClock(5.0)
    clock.advance_to(3.0)
    clock.sleep(-1.0)
    assert clock.now() == 5.0
    clock.sleep(0.5)
    assert clock.now() == 5.5
    real = RealClock()
    before = real.now()
    real.sleep(-1.0)
    real.sleep(0.0)
    assert real.now() >= before


def test_time_in_which_the_process_stood_still_is_no_time() -> None:
    """Looked at every 50 ms the clock keeps step; of an hour between two looks, half a second."""
    ticks = [100.0]
    clock = RealClock(lambda: ticks[0])
    began = clock.now()
    for _ in range(40):
        ticks[0] += 0.05
        assert clock.now() - began == pytest.approx(ticks[0] - 100.0)
    ticks[0] += 3600.0
    assert clock.now() - began == pytest.approx(2.5)
    ticks[0] += 0.25
    assert clock.now() - began == pytest.approx(2.75)


def test_a_long_sleep_is_no_standstill(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was asked for passes whole, the hour in which the process was stopped meanwhile not."""
    ticks = [100.0]
    clock = RealClock(lambda: ticks[0])
    began = clock.now()

    def sleep(seconds: float) -> None:
        ticks[0] += seconds + 3600.0

    monkeypatch.setattr("hostlink.link.clock.time.sleep", sleep)
    clock.sleep(2.0)
    assert clock.now() - began == pytest.approx(2.5)
