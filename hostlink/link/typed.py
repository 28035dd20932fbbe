"""Typing one line with echo verification, up to its line end.

The line end is held back until the echo of the text is correct, so that nothing wrong is entered;
a line with a wrong echo is cancelled and typed again.

Its states and their moves are TYPED in hostlink.link.states.
"""

from __future__ import annotations

from enum import Enum

from hostlink.link.core import Step
from hostlink.link.pacing import Pacing, ends_with_prompt
from hostlink.link.states import TYPED, CoreState, StatedCore

_DEAF_SIGNS = 2  # a single one may be damage on the wire
_CUT_SIGNS = 4  # attempts in a row that stop at the same character; damage would vary
_SHORTEST_LINE = 20  # characters that every board takes in a line: common practice, no source
_LONGEST_SETTLING_S = 5.0  # no reaction to one typed line sends for longer


class Outcome(Enum):
    """How typing a line, or the whole exchange, ended."""

    ANSWERED = "answered"
    SILENT = "silent"  # the line was entered, no prompt came back
    UNTYPED = "untyped"  # it could not be typed correctly and was not entered
    FLOODING = "flooding"  # the board does not stop sending
    DEAF = "deaf"  # the board rejects every character: its memory is full
    CROWDED = "crowded"  # its memory has room for the first characters only; see Typed.room


class Typed(StatedCore):
    """Type one line; finish as soon as its line end is sent, or after the last attempt.

    The answer is not collected here: the line may start a program that runs for an hour or asks
    for input. Results: `committed`, or else `outcome` with the reason; `repairs`, `heard` (the last
    bytes received while typing).

    attempts: how many times the text is typed. may_enter_wrong: see Reach. longest_s: seconds for
    all of it. most_bytes: the most that may come back for one attempt.
    """

    def __init__(
        self,
        text: bytes,
        pacing: Pacing,
        *,
        attempts: int = 12,
        may_enter_wrong: bool = True,
        longest_s: float = 120.0,
        most_bytes: int = 65_536,
    ) -> None:
        super().__init__(TYPED)
        self.outcome = Outcome.SILENT
        self.repairs = 0
        self.deaf_sign = b""  # the board's answer to a character that it did not take
        self.committed_wrong = False
        self.echo_heard = False  # at least one character was echoed correctly
        self.prompted_early = False  # in the last attempt a prompt came before the line end
        self._stops: list[int] = []  # correctly echoed characters of each failed attempt
        self._text = text
        self._pacing = pacing
        self._most_attempts = attempts
        self._may_enter_wrong = may_enter_wrong
        self._longest_s = longest_s
        self._most_bytes = most_bytes
        self._sent = 0
        self._echoed = 0
        self._came_back = 0  # bytes received since typing of the text began
        self._attempts = 0
        self._buffer = bytearray()
        self._last = 0.0
        self._began: float | None = None
        self._next_byte_at = 0.0
        self._settling_since = 0.0
        self._erasures = 0  # still to be sent
        self._deaf_signs = 0  # attempts in a row in which the board rejected the same character
        self._deaf_at = 0  # the index of that character

    @property
    def committed(self) -> bool:
        """Return whether the line end was sent, after a text that was echoed correctly."""
        return self._course.state is CoreState.COMMITTED

    @property
    def heard(self) -> bytes:
        """Return the bytes received since the last wrong or missing echo."""
        return bytes(self._buffer)

    @property
    def may_be_entered(self) -> bool:
        """Return whether the board may have entered part of a text that was not committed."""
        return self.committed_wrong or self.prompted_early

    @property
    def cut_at(self) -> int:
        """Return how many characters the board accepts in a line; 0 if it may accept them all."""
        last = self._stops[-_CUT_SIGNS:]
        same = len(last) == _CUT_SIGNS and len(set(last)) == 1
        return last[0] if same and last[0] >= _SHORTEST_LINE else 0

    @property
    def room(self) -> int:
        """Return how many characters the board's memory has room for; 0 if for all or none.

        A board rejects a character in the same way when the line is at its longest, so the count is
        used only if it is below what every board takes in a line.
        """
        is_rejected = self._deaf_signs >= _DEAF_SIGNS
        return self._deaf_at if is_rejected and self._deaf_at < _SHORTEST_LINE else 0

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return what to type next and when to call again (seconds)."""
        if self.done:
            return Step()
        if self._began is None:
            self._began = self._last = now
            received = b""  # received before anything was typed
        if received:
            self._last = now
        if now - self._began > self._longest_s:
            talking = now - self._last < self._pacing.quiet_s
            return self._finish(Outcome.FLOODING if talking else Outcome.SILENT)
        if len(self._buffer) + len(received) > self._most_bytes:
            return self._finish(Outcome.FLOODING)
        if self._course.state is CoreState.TYPING:
            return self._typing(now, received)
        if self._course.state is CoreState.SETTLING:
            return self._settling(now, received)
        return self._cancelling(now, received)

    def _finish(self, outcome: Outcome) -> Step:
        self.outcome = outcome
        self._course.move(CoreState.DONE)
        return Step()

    # --- typing ------------------------------------------------------------------------------

    def _typing(self, now: float, received: bytes) -> Step:
        self._came_back += len(received)
        if self._pacing.echo and not self._echo_fits(received):
            return self._settle(now, received)
        out = self._next_bytes(now)
        if out:
            self._last = now + len(out) * self._pacing.byte_s
        if self._sent == len(self._text):
            # Without an echo, wait for the time that the board needs for the last character.
            typed = self._echoed == self._sent if self._pacing.echo else now >= self._next_byte_at
            if typed:
                return self._commit(now, out)
        wake = self._last + self._pacing.patience_s
        if now >= wake:
            return self._settle(now)
        if self._next_byte_at > now:
            wake = min(wake, self._next_byte_at)
        return Step(out, wake)

    def _next_bytes(self, now: float) -> bytes:
        pacing = self._pacing
        take = len(self._text) - self._sent
        if pacing.line_window and pacing.echo:
            take = min(take, pacing.line_window - (self._sent - self._echoed))
        if pacing.char_gap_s:
            take = min(take, 1) if now >= self._next_byte_at else 0
            if take > 0:
                self._next_byte_at = now + pacing.char_gap_s
        if take <= 0:
            return b""
        out = self._text[self._sent : self._sent + take]
        self._sent += take
        return out

    def _echo_fits(self, received: bytes) -> bool:
        for byte in received:
            if self._echoed >= self._sent:
                return False
            want = self._text[self._echoed]
            if byte != want and not (97 <= want <= 122 and byte == want - 32):
                if byte in self._pacing.deaf_signs:
                    again = self._echoed == self._deaf_at
                    self._deaf_at, self._deaf_signs = self._echoed, again * self._deaf_signs + 1
                    self.deaf_sign = bytes([byte])
                return False
            self._echoed += 1
            self.echo_heard = True
        return True

    def _commit(self, now: float, out: bytes) -> Step:
        self._course.move(CoreState.COMMITTED)
        self._buffer.clear()
        out += self._pacing.line_end
        self._last = now + len(out) * self._pacing.byte_s
        return Step(out, self._last + self._pacing.patience_s)

    # --- a wrong echo ------------------------------------------------------------------------

    def _settle(self, now: float, received: bytes = b"") -> Step:
        """Wait for quiet after a wrong or missing echo, before the line is cancelled."""
        if self._deaf_signs >= _DEAF_SIGNS and not self._deaf_at:
            return self._finish(Outcome.DEAF)
        self.repairs += 1
        self._attempts += 1
        self._stops.append(self._echoed)
        self._buffer[:] = received
        self._course.move(CoreState.SETTLING)
        self._settling_since = now
        return Step(b"", now + self._pacing.quiet_s)

    def _settling(self, now: float, received: bytes) -> Step:
        self._came_back += len(received)
        self._buffer += received
        quiet_at = self._last + self._pacing.quiet_s
        if received or now < quiet_at:
            if now - self._settling_since > _LONGEST_SETTLING_S:
                return self._finish(Outcome.FLOODING)
            return Step(b"", quiet_at)
        self._course.move(CoreState.CANCELLING)
        self.prompted_early = ends_with_prompt(self._buffer, self._pacing)
        self._buffer.clear()
        pacing = self._pacing
        if pacing.line_cancel:
            out = pacing.line_cancel
        elif pacing.erase:
            # As many as the board has received, and one for a character already there. With more,
            # some boards erase beyond the start of the line, though never by a single one.
            self._erasures = min(self._sent + 1, self._came_back)
            out = self._next_erasures()
        elif not self._may_enter_wrong:
            return self._finish(Outcome.CROWDED if self.room else Outcome.UNTYPED)
        else:
            out = pacing.line_end
            self.committed_wrong = True
        self._last = now + len(out) * pacing.byte_s
        self._settling_since = self._last + 3 * len(out) * pacing.byte_s  # 3 echoed for each
        return Step(out, self._last + pacing.quiet_s + pacing.line_s)

    def _next_erasures(self) -> bytes:
        """Return the erase keys to send now; one at a time if the board would lose the others."""
        singly = self._pacing.char_gap_s or self._pacing.line_window == 1
        count = min(1, self._erasures) if singly else self._erasures
        self._erasures -= count
        return self._pacing.erase * count

    def _cancelling(self, now: float, received: bytes) -> Step:
        self._buffer += received
        quiet_at = self._last + self._pacing.quiet_s + self._pacing.line_s
        if self._erasures:
            quiet_at = self._last + self._pacing.erasing_s
        if received or now < quiet_at:
            if now - self._settling_since > _LONGEST_SETTLING_S:
                return self._finish(Outcome.FLOODING)
            return Step(b"", quiet_at)
        pacing = self._pacing
        if self._erasures:
            self._last = self._settling_since = now
            return Step(self._next_erasures(), now + pacing.erasing_s)
        if self._attempts >= self._most_attempts or self.cut_at or self.room:
            return self._finish(Outcome.CROWDED if self.room else Outcome.UNTYPED)
        told = pacing.prompt and (pacing.line_cancel or not pacing.erase)
        if told and not ends_with_prompt(bytes(self._buffer), pacing):
            self._attempts += 1
            self._course.move(CoreState.SETTLING)
            self._settling_since = now
            return Step(b"", now)
        self._course.move(CoreState.TYPING)
        self._sent = self._echoed = self._came_back = 0
        self._next_byte_at = 0.0
        self._last = now
        return self._typing(now, b"")
