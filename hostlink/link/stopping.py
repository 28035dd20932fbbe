"""Stopping a running program, and finding out whether it has stopped.

Rules:
1. The interrupt alone is sent first, and repeated as long as the program prints. Nothing else is
   sent to a program that prints.
2. Some interpreters read the interrupt as text while INPUT waits. In that case the line is
   cancelled, a number is entered, and the interrupt follows at once, while the program runs on.
   The number has a sign: at an unrecognised prompt an unsigned one would delete a line.
3. The program counts as stopped only when the prompt or the ready message is back.

Its states and their moves are STOPPING in hostlink.link.states.
"""

from __future__ import annotations

from hostlink.link.core import Step
from hostlink.link.hearing import Hearing
from hostlink.link.pacing import Pacing
from hostlink.link.states import STOPPING, CoreState, StatedCore

_ANSWER = b"-0"
_ROUNDS = 3
_LONGEST_PRINTING_S = 2.0  # by then everything buffered on the board or in transit has arrived


class Stopping(StatedCore):
    """Stop a program. Results: `stopped`, and `row`, the last row that the board sent.

    On a board with neither a prompt nor a ready message, `stopped` stays False, since there is no
    way to tell.
    """

    def __init__(self, pacing: Pacing) -> None:
        super().__init__(STOPPING)
        self.stopped = False
        self._pacing = pacing
        self._hearing = Hearing(pacing)
        self._last_row = b""
        self._since = 0.0
        abandon = pacing.line_cancel or pacing.line_end
        number = _ANSWER + pacing.line_end + pacing.interrupt
        ways = [pacing.interrupt, abandon, number] * _ROUNDS if pacing.interrupt else []
        self._ways = ways if pacing.direct_end else ways[:1]
        self._at = 0

    @property
    def sent(self) -> bool:
        """Return whether the interrupt went out at least once."""
        return self._at > 0

    @property
    def row(self) -> bytes:
        """Return the last row that the board sent."""
        return self._hearing.row.strip() or self._last_row

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return what to send next to stop the program."""
        hearing = self._hearing
        if self._course.state is CoreState.LISTENING:
            return self._try(now)
        if received:
            hearing.take(now, received)
            rows = [row for row in received.splitlines() if row.strip()]
            self._last_row = rows[-1] if rows else self._last_row
        prompt_at = hearing.prompt_at() if self._pacing.direct_end else None
        if prompt_at is not None:
            if now < prompt_at:
                return Step(b"", prompt_at)
            self.stopped = True
            return self._end()
        quiet_at = hearing.last + self._pacing.patience_s
        printing_until = self._since + _LONGEST_PRINTING_S
        if now < min(quiet_at, printing_until):
            return Step(b"", min(quiet_at, printing_until))
        if now < quiet_at:  # the program still prints
            self._at = -(-self._at // 3) * 3
        return self._try(now)

    def _try(self, now: float) -> Step:
        if self._at >= len(self._ways):
            return self._end()
        self._course.move(CoreState.INTERRUPTING)
        out = self._ways[self._at]
        self._at += 1
        self._since = now
        self._hearing.begin(now + len(out) * self._pacing.byte_s)
        return Step(out, self._hearing.last + self._pacing.patience_s)

    def _end(self) -> Step:
        self._course.move(CoreState.DONE)
        return Step()
