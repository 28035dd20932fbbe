"""Typing one line with echo verification, and collecting the board's answer.

The line end is held back until the echo of the text is correct, so that nothing wrong is entered;
a line with a wrong echo is cancelled and typed again. Commands, deletions and repairs are always
sent this way.

States: typing -> committed -> done, and typing -> settling -> cancelling -> typing. The answer is
complete when a prompt at the start of a line is followed by quiet. A prompt inside an answer is
followed by more text and does not count.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from hostlink.link.core import Step
from hostlink.link.pacing import Pacing

_QUIET_AFTER_STORING_S = 0.3  # for boards that confirm a line only by silence
_WIPED_S = 0.03  # in which a board erases a character: common practice, no source
_DEAF_SIGNS = 2  # a single one may be damage on the wire
_CUT_SIGNS = 4  # attempts in a row that stop at the same character; damage would vary
_SHORTEST_LINE = 20  # characters that every board takes in a line: common practice, no source
_LONGEST_SETTLING_S = 5.0  # no reaction to one typed line sends for longer
_NEXT_PAGE = b" "  # turns a page where a line end does not: common practice, no source
_PAGE_ROWS = 4  # rows after a nudge that show that the answer continues page by page
QUIET_WITHOUT_PROMPT_S = 1.0  # common practice, no source: no board pauses that long in a listing


class Outcome(Enum):
    """How an exchange ended."""

    ANSWERED = "answered"
    SILENT = "silent"  # the line was entered, no prompt came back
    UNTYPED = "untyped"  # it could not be typed correctly and was not entered
    FLOODING = "flooding"  # the board does not stop sending
    DEAF = "deaf"  # the board rejects every character: its memory is full


class _State(Enum):
    TYPING = "typing"
    SETTLING = "settling"
    CANCELLING = "cancelling"
    COMMITTED = "committed"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Reach:
    """The limits at which an exchange gives up.

    attempts: how many times the text is typed. nudges: how many times in a row the line end is sent
    again if no prompt comes, unless the answer continues page by page (0 for a command that may run
    long: then only longest_s ends the wait). silence_s: seconds without a byte that count as
    silence, None for the pacing's patience. longest_s: seconds for the whole answer. most_bytes:
    largest answer. may_enter_wrong: whether to enter a wrongly echoed line to get rid of it, if the
    board has no key to cancel it; harmless for a command, but not for an answer to a program.
    """

    attempts: int = 12
    nudges: int = 3
    silence_s: float | None = None
    longest_s: float = 120.0
    most_bytes: int = 65_536
    may_enter_wrong: bool = True


class Exchange:
    """Type `text` and collect the answer. Results: `outcome`, `answer`, `repairs`.

    halts: the unfinished row at each silence of the board within its answer. nudge_key: the key
    that made it continue, at first the line end. unprompted: what came before the first nudge.
    """

    def __init__(
        self,
        text: bytes,
        pacing: Pacing,
        reach: Reach | None = None,
        *,
        on_answer: Callable[[bytes], None] | None = None,
    ) -> None:
        self.outcome = Outcome.SILENT
        self.answer = b""
        self.repairs = 0
        self.nudged = 0
        self.deaf_sign = b""  # what a character was answered with that the board did not take
        self.halts: list[bytes] = []
        self.nudge_key = pacing.line_end
        self.unprompted = b""
        self.committed_wrong = False
        self.echo_heard = False  # at least one character was echoed correctly
        self.prompted_early = False  # in the last attempt a prompt came before the line end
        self._stops: list[int] = []  # correctly echoed characters of each failed attempt
        self._text = text
        self._numbered = text.lstrip(b" ")[:1].isdigit()
        self._pacing = pacing
        self._reach = reach or Reach()
        self._on_answer = on_answer
        self._state = _State.TYPING
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
        self._deaf_signs = 0  # attempts whose first character the board rejected
        self._nudges_in_row = 0
        self._nudged_at = 0  # position in the buffer where the answer to the last nudge begins

    @property
    def done(self) -> bool:
        """Return whether the exchange has ended and `outcome` is final."""
        return self._state is _State.DONE

    @property
    def committed(self) -> bool:
        """Return whether the line end was sent; everything received after that is the answer."""
        return self._state is _State.COMMITTED

    @property
    def cut_at(self) -> int:
        """Return how many characters the board accepts in a line; 0 if it may accept them all."""
        last = self._stops[-_CUT_SIGNS:]
        same = len(last) == _CUT_SIGNS and len(set(last)) == 1
        return last[0] if same and last[0] >= _SHORTEST_LINE else 0

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return what to type next and when to call again (seconds)."""
        if self._began is None:
            self._began = self._last = now
            received = b""  # received before anything was typed
        if received:
            self._last = now
        if now - self._began > self._reach.longest_s:
            talking = now - self._last < self._pacing.quiet_s
            self._finish(Outcome.FLOODING if talking else Outcome.SILENT)
            return Step()
        handler = {
            _State.TYPING: self._typing,
            _State.SETTLING: self._settling,
            _State.CANCELLING: self._cancelling,
            _State.COMMITTED: self._collecting,
        }.get(self._state)
        return handler(now, received) if handler else Step()

    def _finish(self, outcome: Outcome) -> Step:
        self.outcome = outcome
        self.answer = bytes(self._buffer)
        self._state = _State.DONE
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
            if self._echoed == 0 and byte in self._pacing.deaf_signs:
                self._deaf_signs += 1
                self.deaf_sign = bytes([byte])
            if byte != want and not (97 <= want <= 122 and byte == want - 32):
                return False
            self._echoed += 1
            self.echo_heard = True
        return True

    def _commit(self, now: float, out: bytes) -> Step:
        self._state = _State.COMMITTED
        self._buffer.clear()
        out += self._pacing.line_end
        self._last = now + len(out) * self._pacing.byte_s
        return Step(out, self._last + self._silence())

    # --- a wrong echo ------------------------------------------------------------------------

    def _settle(self, now: float, received: bytes = b"") -> Step:
        """Wait for quiet after a wrong or missing echo, before the line is cancelled."""
        if self._deaf_signs >= _DEAF_SIGNS:
            return self._finish(Outcome.DEAF)
        self.repairs += 1
        self._attempts += 1
        self._stops.append(self._echoed)
        self._buffer[:] = received
        self._state = _State.SETTLING
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
        self._state = _State.CANCELLING
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
        elif not self._reach.may_enter_wrong:
            return self._finish(Outcome.UNTYPED)
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
            quiet_at = self._last + _WIPED_S + 6 * self._pacing.byte_s
        if received or now < quiet_at:
            if now - self._settling_since > _LONGEST_SETTLING_S:
                return self._finish(Outcome.FLOODING)
            return Step(b"", quiet_at)
        pacing = self._pacing
        if self._erasures:
            self._last = self._settling_since = now
            return Step(self._next_erasures(), now + _WIPED_S + 6 * pacing.byte_s)
        if self._attempts >= self._reach.attempts or self.cut_at:
            return self._finish(Outcome.UNTYPED)
        told = pacing.prompt and (pacing.line_cancel or not pacing.erase)
        if told and not ends_with_prompt(bytes(self._buffer), pacing):
            self._attempts += 1
            self._state = _State.SETTLING
            self._settling_since = now
            return Step(b"", now)
        self._state = _State.TYPING
        self._sent = self._echoed = self._came_back = 0
        self._next_byte_at = 0.0
        self._last = now
        return self._typing(now, b"")

    # --- the answer --------------------------------------------------------------------------

    def _silence(self) -> float:
        return self._reach.silence_s or self._pacing.patience_s

    def _collecting(self, now: float, received: bytes) -> Step:
        pacing = self._pacing
        if received:
            self._buffer += received
            if self._on_answer is not None:
                self._on_answer(received)
            if len(self._buffer) > self._reach.most_bytes:
                return self._finish(Outcome.FLOODING)
            if pacing.page_prompt and self._buffer.endswith(pacing.page_prompt):
                del self._buffer[-len(pacing.page_prompt) :]
                return Step(pacing.page_key, now + self._silence())
        held = self._buffer
        nothing_said = (pacing.reply_end if pacing.echo else b"") + pacing.prompt
        if self._is_stored_silently and held == nothing_said and not self.nudged:
            return self._finish(Outcome.ANSWERED)
        quiet_at = self._quiet_at(held)
        if quiet_at is not None:  # complete, or no prompt to wait for: end by quiet, not a nudge
            return self._finish(Outcome.ANSWERED) if now >= quiet_at else Step(b"", quiet_at)
        silent_at = self._last + self._silence()
        return self._nudge(now) if now >= silent_at else Step(b"", silent_at)

    @property
    def _is_stored_silently(self) -> bool:
        """Return whether the first prompt ends the answer, as for a line stored by then.

        Not so for a direct command, whose output may begin with the same text as the prompt.
        """
        pacing = self._pacing
        return self._numbered and bool(pacing.prompt) and pacing.line_done != "after-prompt"

    def _quiet_at(self, held: bytearray) -> float | None:
        """Return the time at which the answer counts as complete if nothing more comes, or None."""
        pacing = self._pacing
        if pacing.prompt if self._numbered else pacing.direct_end:
            # Without echo a nudge is answered by the prompt alone, directly after earlier text.
            complete = ends_with_prompt(held, pacing) or (
                self.nudged > 0 and held[self._nudged_at :] == pacing.prompt
            )
            return self._last + max(pacing.quiet_s, pacing.guard_s) if complete else None
        if pacing.echo and not held:
            return None  # the line end did not reach the board
        still_s = _QUIET_AFTER_STORING_S if self._numbered else QUIET_WITHOUT_PROMPT_S
        return self._last + max(still_s, pacing.quiet_s)

    def _nudge(self, now: float) -> Step:
        """Ask for a new prompt after silence without one."""
        if not self._reach.nudges:
            return Step(b"", now + self._silence())
        since = self._buffer[self._nudged_at :]
        if self.nudged and since.count(b"\n") + since.count(b"\r") > 2 * _PAGE_ROWS:
            self._nudges_in_row = 0
        if self._nudges_in_row >= self._reach.nudges:
            return self._finish(Outcome.SILENT)
        is_ignored = self.nudged > 0 and not since
        if is_ignored and self.halts[-1]:  # the board shows a text and expects another key
            self.nudge_key = _NEXT_PAGE if self.nudge_key != _NEXT_PAGE else self._pacing.line_end
        if not is_ignored:
            self.halts.append(bytes(re.split(rb"[\r\n]", self._buffer)[-1]))
        if not self.nudged:
            self.unprompted = bytes(self._buffer)
        self.nudged += 1
        self._nudges_in_row += 1
        self._nudged_at = len(self._buffer)
        self._last = now
        return Step(self.nudge_key, now + self._silence())


def ends_with_prompt(heard: bytes | bytearray, pacing: Pacing) -> bool:
    """Return whether the received bytes end with a prompt or ready message at a line start.

    A bell may stand before it. A second one directly after the first counts too: a board that is
    slow to start may answer an early line end so, without a new line.
    """
    for prompt in (pacing.prompt, pacing.ready):
        end = len(heard)
        while prompt and heard.endswith(prompt, 0, end):
            end -= len(prompt)
        if end < len(heard) and (end == 0 or heard[end - 1] in b"\r\n\a"):
            return True
    return False
