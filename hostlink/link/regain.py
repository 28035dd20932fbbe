"""Bringing the board to a quiet prompt, whatever it was doing.

Listen until the line is quiet, cancel a half-typed line (with the profile's cancel byte or, without
one, a line end), and look for a prompt. A program that runs or waits for input shows no prompt; it
is interrupted only with permission, since its variables may be lost.
"""

from __future__ import annotations

from enum import Enum

from hostlink.link.core import Step
from hostlink.link.pacing import Pacing, ends_with_prompt
from hostlink.link.states import REGAIN, CoreState, StatedCore

_FIRST_LISTEN_S = 0.15
_TRIES = 4  # how many times something is sent
_SETTLE_S = 2.0  # for a board that keeps sending; it is flooding if it never pauses
_WIPING = b"\b \x00"


class FoundState(Enum):
    """The state in which the board was found."""

    PROMPT = "prompt"
    SILENT = "silent"  # no byte was received
    UNREADABLE = "unreadable"  # bytes were received, but little text: probably the wrong speed
    RUNNING = "running"  # text without a prompt, and interrupting was not permitted
    STUCK = "stuck"  # text without a prompt even after interrupting


class Regain(StatedCore):
    """Look for a prompt. Results: `found`, `heard` (all bytes received), `interrupted`."""

    def __init__(self, pacing: Pacing, *, may_interrupt: bool) -> None:
        """Prepare the search. may_interrupt: whether a running program may be stopped."""
        super().__init__(REGAIN)
        self.found = FoundState.SILENT
        self.heard = bytearray()
        self.interrupted = False
        self.flooding = False
        self._pacing = pacing
        self._may_interrupt = may_interrupt and bool(pacing.interrupt)
        self._tried = 0
        self._since: float | None = None  # when the current wait began
        self._last = 0.0
        self._mark = 0  # where the answer to the current try begins in `heard`

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return what to send next and when to call again (seconds)."""
        if self._since is None:
            self._since = self._last = now
            self._last = now - self._pacing.quiet_s + _FIRST_LISTEN_S
        if received:
            self.heard += received
            self._last = now
        quiet_at = self._last + self._pacing.quiet_s + self._pacing.line_s
        settled_at = self._since + _SETTLE_S
        if now < quiet_at and now < settled_at:  # the same times as the wake, or it would never end
            return Step(b"", min(quiet_at, settled_at))
        if now < quiet_at:
            return self._talking(now)
        return self._quiet(now)

    def _talking(self, now: float) -> Step:
        """Interrupt a board that does not stop sending, if allowed; otherwise end the search."""
        if not self._may_interrupt:
            return self._end(FoundState.RUNNING)
        if self._tried >= _TRIES:
            self.flooding = True
            return self._end(FoundState.STUCK)
        return self._try(CoreState.INTERRUPTING, now, self._pacing.interrupt)

    def _quiet(self, now: float) -> Step:
        answer, pacing = bytes(self.heard[self._mark :]), self._pacing
        if self._tried and (ends_with_prompt(answer, pacing) or self._is_answered(answer)):
            return self._end(FoundState.PROMPT)
        if self._tried >= _TRIES:
            return self._end(self._verdict())
        # Start with the least intrusive byte: a board that shows text but no prompt may wait for
        # INPUT, which would take a line end as its answer. Bytes that only erase a half-typed line
        # on a terminal are not such a text.
        is_asked = self._course.state is CoreState.ASKED or (
            self._tried > 0 and bool(answer.strip(_WIPING)) and self._is_text(answer)
        )
        if self._may_interrupt and (is_asked or self._tried >= 2):
            return self._try(CoreState.INTERRUPTING, now, pacing.interrupt)
        if is_asked:
            second = pacing.line_end if self._tried == 1 else b""
            return self._try(CoreState.ASKED, now, pacing.line_cancel or second)
        quietest = pacing.line_cancel or pacing.line_end
        return self._try(CoreState.TRYING, now, pacing.line_end if self._tried % 2 else quietest)

    def _is_answered(self, answer: bytes) -> bool:
        """Return whether a board without a prompt has answered an empty line and is quiet.

        A board with a ready message answers an empty line with a line end alone; any other text may
        be a program's question.
        """
        pacing = self._pacing
        if pacing.prompt or (pacing.echo and not answer):
            return False
        return not pacing.ready or not answer.strip(b"\r\n")

    def _try(self, state: CoreState, now: float, out: bytes) -> Step:
        self._course.move(state)
        self._tried += 1
        self.interrupted = self.interrupted or state is CoreState.INTERRUPTING
        self._mark = len(self.heard)
        self._since = now
        self._last = now + self._pacing.latency_s + 2 * self._pacing.byte_s
        return Step(out, self._last + self._pacing.quiet_s)

    def _is_text(self, heard: bytes) -> bool:
        text = sum(1 for byte in heard if 32 <= byte < 127 or byte in b"\r\n\t\b")
        return text * 10 >= len(heard) * 8

    def _verdict(self) -> FoundState:
        heard = bytes(self.heard)
        if not heard:
            return FoundState.SILENT
        if not self._is_text(heard):
            return FoundState.UNREADABLE
        return FoundState.STUCK if self._may_interrupt else FoundState.RUNNING

    def _end(self, found: FoundState) -> Step:
        self._course.move(CoreState.DONE)
        self.found = found
        return Step()
