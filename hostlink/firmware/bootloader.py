"""Talking to a serial bootloader: a core without I/O that drives one script of questions.

A script is a generator: it yields a `Query` and is sent the bytes that were asked for, or has
`AskFailed` thrown in; it yields a `Drain` to let the line fall quiet. What it returns is the
result. The core keeps the rules:

1. One question is under way at a time; what came in before it is discarded.
2. An answer is exactly INSYNC, the payload, OK; anything else fails the question at once, and
   silence fails it when its time is over. No answer is collected beyond its own length.
3. A failure that the script does not catch ends the core in FAILED, for good.

    READY -> ASKING <-> DRAINING -> DONE | FAILED
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from enum import Enum
from typing import Generic, TypeAlias, TypeVar

from hostlink.firmware.protocol import FAILED, INSYNC, NO_DEVICE, OK, UNKNOWN
from hostlink.link.core import Step
from hostlink.link.pacing import BITS_PER_BYTE

T = TypeVar("T")
_LONGEST_DRAIN_S = 0.5


class Failure(Enum):
    """Why a question failed."""

    SILENT = "silent"  # nothing came back
    OUT_OF_STEP = "out of step"  # something other than an answer came back, or only part of one
    REFUSED = "refused"  # the bootloader does not do this


class AskFailed(Exception):
    """Raised in a script if a question gets a wrong answer or none."""

    def __init__(self, failure: Failure) -> None:
        super().__init__(failure.value)
        self.failure = failure


@dataclass(frozen=True, slots=True)
class Query:
    """A frame to send. size: bytes of payload in its answer.

    patience_s: time for the answer, besides its time on the wire.
    """

    frame: bytes
    size: int = 0
    patience_s: float = 0.3


@dataclass(frozen=True, slots=True)
class Drain:
    """Send `flush`, then discard what comes in until the line has been quiet for quiet_s."""

    quiet_s: float
    flush: bytes = b""


Script: TypeAlias = Generator[Query | Drain, bytes, T]


class _State(Enum):
    READY = "ready"
    ASKING = "asking"
    DRAINING = "draining"
    DONE = "done"
    FAILED = "failed"


class Conversation(Generic[T]):
    """Drives a script at `baud`. When done: `result`, or `failure` if a question failed."""

    def __init__(self, script: Script[T], baud: int) -> None:
        self.result: T | None = None
        self.failure: Failure | None = None
        self._script = script
        self._byte_s = BITS_PER_BYTE / baud
        self._state = _State.READY
        self._ask = Query(b"")
        self._answer = bytearray()
        self._deadline = 0.0
        self._quiet_at = 0.0
        self._quiet_s = 0.0

    @property
    def done(self) -> bool:
        """Return whether the conversation has ended, successfully or not."""
        return self._state in (_State.DONE, _State.FAILED)

    def step(self, now: float, received: bytes) -> Step:
        """Take the bytes that came in; return what to write next. now: clock time, seconds."""
        if self._state is _State.READY:
            return self._next(now, None)
        if self._state is _State.DRAINING:
            return self._draining(now, received)
        if self._state is _State.ASKING:
            return self._asking(now, received)
        return Step()

    def _asking(self, now: float, received: bytes) -> Step:
        answer = self._answer
        room = self._ask.size + 2 - len(answer)
        answer += received[: room + 1]  # one byte too many shows that it is not our answer
        failure = self._judge(late=now >= self._deadline)
        if failure is not None:
            return self._next(now, AskFailed(failure))
        if len(answer) == self._ask.size + 2:
            return self._next(now, bytes(answer[1:-1]))
        return Step(b"", self._deadline)

    def _judge(self, *, late: bool) -> Failure | None:
        """Return what is wrong with the answer so far, None if it may still become valid."""
        answer, size = self._answer, self._ask.size
        if not answer:
            return Failure.SILENT if late else None
        if answer[0] != INSYNC or len(answer) > size + 2:
            return Failure.OUT_OF_STEP
        refused = len(answer) == 2 and answer[1] in (FAILED, UNKNOWN, NO_DEVICE)
        if refused and (late or size == 0):
            return Failure.REFUSED  # if a payload is due, this could be its first byte
        if len(answer) == size + 2:
            return None if answer[-1] == OK else Failure.OUT_OF_STEP
        return Failure.OUT_OF_STEP if late else None

    def _draining(self, now: float, received: bytes) -> Step:
        if received:
            self._quiet_at = now + self._quiet_s
        if now < min(self._quiet_at, self._deadline):
            return Step(b"", min(self._quiet_at, self._deadline))
        return self._next(now, b"")

    def _next(self, now: float, answer: bytes | AskFailed | None) -> Step:
        """Pass the answer to the script and start its next request."""
        try:
            if isinstance(answer, AskFailed):
                wanted = self._script.throw(answer)
            else:
                wanted = next(self._script) if answer is None else self._script.send(answer)
        except StopIteration as end:
            self.result = end.value
            self._state = _State.DONE
            return Step()
        except AskFailed as failed:
            self.failure = failed.failure
            self._state = _State.FAILED
            return Step()
        return self._begin(now, wanted)

    def _begin(self, now: float, wanted: Query | Drain) -> Step:
        if isinstance(wanted, Drain):
            self._state = _State.DRAINING
            self._quiet_s = wanted.quiet_s
            self._quiet_at = now + wanted.quiet_s + len(wanted.flush) * self._byte_s
            self._deadline = self._quiet_at + _LONGEST_DRAIN_S
            return Step(wanted.flush, self._quiet_at)
        self._state = _State.ASKING
        self._ask = wanted
        self._answer.clear()
        on_wire = (len(wanted.frame) + wanted.size + 2) * self._byte_s
        self._deadline = now + on_wire + wanted.patience_s
        return Step(wanted.frame, self._deadline)
