"""The practice board behind the port protocol: time jumps or is slept, nothing else differs."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from hostlink.errors import LinkError, LinkReason
from hostlink.link.clock import VirtualClock
from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings


class NapClock(VirtualClock):
    """A clock that is read like a real one: time passes only by naps, each counted."""

    def __init__(self) -> None:
        super().__init__(start=1000.0)
        self.naps = 0

    def sleep(self, seconds: float) -> None:
        self.naps += 1
        super().sleep(seconds)


def test_a_quiet_minute_on_a_virtual_clock_is_one_call() -> None:
    """Waiting jumps straight to the moment asked for when nothing comes."""
    clock = VirtualClock()
    port = PracticePort(Machine(BoardSettings(prompt=b"")), clock, jump=clock.advance_to)
    port.wait_until(60.0)
    assert clock.now() == 60.0


def test_waiting_ends_with_the_first_byte() -> None:
    """The jump stops where the first byte can be read, and never goes back."""
    clock = VirtualClock()
    port = PracticePort(Machine(BoardSettings(latency_ms=16.0)), clock, jump=clock.advance_to)
    port.wait_until(60.0)
    assert clock.now() == pytest.approx(0.016 + 10 / 57600)
    assert port.in_waiting == 1
    port.wait_until(0.001)
    assert clock.now() == pytest.approx(0.016 + 10 / 57600)


@pytest.mark.parametrize("start", [0.0, 0.1, 1000.0, 123456.789])
def test_a_byte_is_ready_when_waiting_for_it_has_ended(start: float) -> None:
    """Whenever the clock was started, rounding never leaves a byte just out of reach for ever."""
    clock = VirtualClock(start=start)
    port = PracticePort(Machine(), clock, jump=clock.advance_to)
    got = b""
    port.write(b"PRINT 12345\r")
    for _ in range(30):
        port.wait_until(clock.now() + 1.0)
        assert port.in_waiting or clock.now() > start + 1.0
        got += port.read(100)
    assert got == b"+ PRINT 12345\r\n 12345\r\n+ "


def test_real_time_is_the_same_machine_looked_at_now_and_then() -> None:
    """With short sleeps instead of jumps the same bytes come, at the same clock times or later."""

    def talk(port: PracticePort, clock: VirtualClock) -> tuple[bytes, float]:
        got = b""
        port.write(b"10 END\rLIST\r")
        for _ in range(1000):
            got += port.read(100)
            if got.endswith(b"LIST\r\n10 END\r\n+ "):
                break
        return got, clock.now()

    virtual = VirtualClock(start=1000.0)
    jumped = talk(PracticePort(Machine(), virtual, jump=virtual.advance_to), virtual)
    napping = NapClock()
    slept = talk(PracticePort(Machine(), napping), napping)
    assert slept[0] == jumped[0]
    assert slept[0].endswith(b"LIST\r\n10 END\r\n+ ")
    assert slept[1] - jumped[1] == pytest.approx(0.0, abs=0.01)
    assert napping.naps > 5


def test_only_a_virtual_port_brings_its_own_time() -> None:
    """In real time the pump must poll: the port has no `wait_until`."""
    clock = VirtualClock()
    assert hasattr(PracticePort(Machine(), clock, jump=clock.advance_to), "wait_until")
    assert not hasattr(PracticePort(Machine(), clock), "wait_until")


@pytest.fixture
def desk() -> Callable[..., tuple[PracticePort, VirtualClock]]:
    """A port on a virtual clock with a board of these settings."""

    def make(faults: Faults | None = None, **settings: object) -> tuple[PracticePort, VirtualClock]:
        clock = VirtualClock()
        machine = Machine(BoardSettings(**settings), faults)  # type: ignore[arg-type]
        return PracticePort(machine, clock, jump=clock.advance_to), clock

    return make


def test_raising_dtr_restarts_the_board(
    desk: Callable[..., tuple[PracticePort, VirtualClock]],
) -> None:
    """Down changes nothing, up restarts: memory is lost and the banner comes."""
    port, clock = desk()
    port.write(b"10 END\r")
    clock.advance_to(1.0)
    port.dtr = False
    clock.advance_to(2.0)
    assert b"practice board" not in port.read(100)
    assert port.machine.basic.lines == {10: b"END"}
    port.dtr = True
    clock.advance_to(5.0)
    assert b"practice board" in port.read(100)
    assert port.machine.basic.lines == {}


def test_raising_dtr_that_is_up_does_nothing(
    desk: Callable[..., tuple[PracticePort, VirtualClock]],
) -> None:
    """Only going from down to up restarts."""
    port, clock = desk()
    port.dtr = True
    clock.advance_to(5.0)
    assert port.read(100) == b"+ "


@pytest.mark.parametrize("restarts", [True, False])
def test_opening_restarts_only_boards_built_so(
    desk: Callable[..., tuple[PracticePort, VirtualClock]], restarts: bool
) -> None:
    """A board with the restart capacitor shows its banner on opening, another its prompt."""
    port, clock = desk(restarts_on_open=restarts)
    clock.advance_to(5.0)
    assert (b"practice board" in port.read(100)) is restarts


def test_an_unplugged_board_is_a_link_error(
    desk: Callable[..., tuple[PracticePort, VirtualClock]],
) -> None:
    """From that byte on every call says that it is gone; closing still works."""
    port, clock = desk(faults=Faults(unplug_after_bytes=3))
    port.write(b"10 END\r")
    clock.advance_to(1.0)
    for call in (lambda: port.read(1), lambda: port.in_waiting, lambda: port.write(b"A")):
        with pytest.raises(LinkError, match="unplugged") as caught:
            call()
        assert caught.value.reason is LinkReason.GONE
    port.close()


def test_closing_hands_the_machine_over_once() -> None:
    """`on_close` gets the machine as it is at that moment, the first time only."""
    clock = VirtualClock()
    kept: list[dict[int, bytes]] = []
    port = PracticePort(
        Machine(),
        clock,
        jump=clock.advance_to,
        on_close=lambda machine: kept.append(dict(machine.basic.lines)),
    )
    port.write(b"10 END\r")
    clock.advance_to(1.0)
    port.close()
    port.close()
    assert kept == [{10: b"END"}]
