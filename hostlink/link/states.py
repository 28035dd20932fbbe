"""The states of the cores that talk to a board, and which state may follow which.

Rules:
1. A core is in one state of its table, and begins in the table's first one.
2. A state that the table does not list as a key is final; a core in it takes nothing more.
3. A move that is not in the table is a defect of the core and raises AssertionError.
4. The limits of a core (seconds, bytes) hold in each state that is not final.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from types import MappingProxyType
from typing import TypeAlias


class CoreState(Enum):
    """What a core does now."""

    TYPING = "typing"  # sends the text of a line and checks its echo
    SETTLING = "settling"  # waits for quiet after a wrong or missing echo
    CANCELLING = "cancelling"  # removes the wrong line, and waits for the board's answer to that
    COMMITTED = "committed"  # has sent the line end, after a correct echo
    COLLECTING = "collecting"  # takes the answer
    SENDING = "sending"  # sends many lines, or bytes once
    PAUSED = "paused"  # sends nothing, because the board has sent XOFF
    LISTENING = "listening"  # sends nothing and takes what the board prints
    ANSWERING = "answering"  # answers a program, or a question that the board asks at its start
    WAITING = "waiting"  # the program asks, and the person has not answered yet
    TRYING = "trying"  # has sent what brings a board without a program to its prompt
    ASKED = "asked"  # was answered by text without a prompt: a program may be asking
    INTERRUPTING = "interrupting"  # has sent the interrupt
    DONE = "done"  # has its result, or gave up


Moves: TypeAlias = Mapping[CoreState, frozenset[CoreState]]

TYPED: Moves = MappingProxyType(
    {
        CoreState.TYPING: frozenset({CoreState.SETTLING, CoreState.COMMITTED, CoreState.DONE}),
        CoreState.SETTLING: frozenset({CoreState.CANCELLING, CoreState.DONE}),
        CoreState.CANCELLING: frozenset({CoreState.TYPING, CoreState.SETTLING, CoreState.DONE}),
    }
)
EXCHANGE: Moves = MappingProxyType(
    {
        CoreState.TYPING: frozenset({CoreState.COLLECTING, CoreState.DONE}),
        CoreState.COLLECTING: frozenset({CoreState.DONE}),
    }
)
SENDER: Moves = MappingProxyType(
    {
        CoreState.SENDING: frozenset({CoreState.PAUSED, CoreState.DONE}),
        CoreState.PAUSED: frozenset({CoreState.SENDING, CoreState.DONE}),
    }
)
RUNNING: Moves = MappingProxyType(
    {
        CoreState.TYPING: frozenset({CoreState.LISTENING, CoreState.DONE}),
        CoreState.LISTENING: frozenset({CoreState.ANSWERING, CoreState.WAITING, CoreState.DONE}),
        CoreState.ANSWERING: frozenset({CoreState.LISTENING, CoreState.DONE}),
        CoreState.WAITING: frozenset({CoreState.LISTENING}),
    }
)
REGAIN: Moves = MappingProxyType(  # each try is a move, also one like the try before it
    {
        CoreState.LISTENING: frozenset({CoreState.TRYING, CoreState.INTERRUPTING, CoreState.DONE}),
        CoreState.TRYING: frozenset(
            {CoreState.TRYING, CoreState.ASKED, CoreState.INTERRUPTING, CoreState.DONE}
        ),
        CoreState.ASKED: frozenset({CoreState.ASKED, CoreState.DONE}),
        CoreState.INTERRUPTING: frozenset(
            {CoreState.INTERRUPTING, CoreState.TRYING, CoreState.DONE}
        ),
    }
)
STOPPING: Moves = MappingProxyType(
    {
        CoreState.LISTENING: frozenset({CoreState.INTERRUPTING, CoreState.DONE}),
        CoreState.INTERRUPTING: frozenset({CoreState.INTERRUPTING, CoreState.DONE}),
    }
)
WAKING: Moves = MappingProxyType(
    {
        CoreState.LISTENING: frozenset({CoreState.ANSWERING, CoreState.DONE}),
        CoreState.ANSWERING: frozenset({CoreState.ANSWERING, CoreState.DONE}),
    }
)
PROBE: Moves = MappingProxyType(
    {
        CoreState.SENDING: frozenset({CoreState.COLLECTING}),
        CoreState.COLLECTING: frozenset({CoreState.DONE}),
    }
)
TAKING_BACK: Moves = MappingProxyType({CoreState.CANCELLING: frozenset({CoreState.DONE})})


class Course:
    """The state of one core (`state`), held to its table of moves."""

    def __init__(self, moves: Moves) -> None:
        self._moves = moves
        self.state = next(iter(moves))

    @property
    def ended(self) -> bool:
        """Return whether the state is final."""
        return self.state not in self._moves

    def move(self, to: CoreState) -> None:
        """Enter the state `to`. Raises AssertionError if the table has no such move."""
        if to not in self._moves.get(self.state, ()):
            raise AssertionError(f"no move from {self.state.value} to {to.value}")
        self.state = to


class StatedCore:
    """The base of the cores whose state is held to a table of moves."""

    def __init__(self, moves: Moves) -> None:
        self._course = Course(moves)

    @property
    def done(self) -> bool:
        """Return whether the core has ended, with its results or by giving up."""
        return self._course.ended
