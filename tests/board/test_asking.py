"""Recognising a board whose program waits for an answer, on practice boards that run it."""

from __future__ import annotations

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.board.recognise import Recogniser
from hostlink.errors import LinkError, LinkReason
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire
from hostlink.practice.kind_file import find_kind
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort

PROGRAM = (b"10 INPUT A", b"20 PRINT A", b"30 GOTO 10", b"RUN")


def asking(kind: str, *, may_stop: bool) -> tuple[Machine, Recogniser]:
    """A practice board whose program asks, and a recogniser at its wire that knows no kind."""
    machine, clock = Machine(kind=find_kind(kind)), VirtualClock()
    port = PracticePort(machine, clock, jump=clock.advance_to)
    port.baudrate = machine.settings.baud
    for line in (b"", *PROGRAM):
        clock.advance_to(clock.now() + 2)
        port.write(line + machine.settings.line_end)
    clock.advance_to(clock.now() + 2)
    port.reset_input_buffer()
    return machine, Recogniser(Wire(port, clock), (), find_profile("tiny"), may_stop=may_stop)


@pytest.mark.parametrize("kind", ["practice", "aligned"])
def test_a_program_that_asks_is_stopped_with_consent(kind: str) -> None:
    """Its prompt is that of the board, not its question; the program is still in memory."""
    machine, recogniser = asking(kind, may_stop=True)
    found = recogniser.run()
    assert found.heard_talk.prompt == {"practice": b"+ ", "aligned": b">"}[kind]
    assert list(machine.basic.lines) == [10, 20, 30]


@pytest.mark.parametrize("may_stop", [True, False])
@pytest.mark.parametrize("kind", ["capital", "token"])
def test_a_program_that_takes_every_line_is_no_empty_memory(kind: str, may_stop: bool) -> None:
    """No key stops it, and it says of a remark what it says of anything else."""
    machine, recogniser = asking(kind, may_stop=may_stop)
    with pytest.raises(LinkError) as caught:
        recogniser.run()
    assert caught.value.reason is LinkReason.RUNNING
    assert list(machine.basic.lines) == [10, 20, 30]
