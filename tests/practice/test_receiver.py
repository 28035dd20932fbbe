"""The receive interrupt: what is kept, what is lost, and when the interrupt key acts."""

from __future__ import annotations

import pytest

from hostlink.practice.ops import Chore, Op, ReadKey, ReadLine, Send, Work
from hostlink.practice.receiver import Receiver
from hostlink.practice.settings import BoardSettings

KEY = 3
RUNNING = (Work(Chore.STATEMENT), Work(Chore.LIST_LINE), Work(Chore.DIRECT))
OTHER = (Work(Chore.STORE), Send(b"A"), ReadLine(b"> "), ReadKey(b"more"))


def receiver(**settings: object) -> Receiver:
    return Receiver(BoardSettings(interrupt=bytes((KEY,)), **settings))  # type: ignore[arg-type]


def test_bytes_are_kept_in_order_until_the_buffer_is_full() -> None:
    """The next one is refused, and is taken again once there is room."""
    held = receiver(receive_buffer=2)
    assert [held.take(byte, Work(Chore.STORE)) for byte in b"ABC"] == [True, True, False]
    assert held.waiting.popleft() == ord("A")
    assert held.take(ord("D"), Work(Chore.STORE))
    assert bytes(held.waiting) == b"BD"


@pytest.mark.parametrize("op", [*RUNNING, *OTHER])
def test_an_interrupt_key_that_acts_at_once_never_takes_room(op: Op) -> None:
    """It is noticed with a full buffer too, and told once."""
    held = receiver(receive_buffer=0, interrupt_typed="at-once")
    assert held.take(KEY, op)
    assert not held.waiting
    assert held.take_interrupt()
    assert not held.take_interrupt()


@pytest.mark.parametrize("op", [*RUNNING, *OTHER])
def test_an_interrupt_key_read_by_running_programs_is_a_byte_otherwise(op: Op) -> None:
    """A board that looks for it only while something runs takes it as typed at other times."""
    held = receiver(receive_buffer=1, interrupt_typed="as-text")
    assert held.take(KEY, op)
    assert held.take_interrupt() is (op in RUNNING)
    assert bytes(held.waiting) == (b"" if op in RUNNING else bytes((KEY,)))


def test_a_restart_forgets_bytes_and_interrupt() -> None:
    """Neither reaches the firmware that starts."""
    held = receiver(receive_buffer=2, interrupt_typed="at-once")
    held.take(ord("A"), Work(Chore.STORE))
    held.take(KEY, Work(Chore.STORE))
    held.reset()
    assert not held.waiting
    assert not held.take_interrupt()
