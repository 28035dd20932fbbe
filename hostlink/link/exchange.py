"""Typing one line with echo verification, and collecting the board's answer.

Commands, deletions and repairs are always sent this way. The line is typed by hostlink.link.typed.
The answer is complete when a prompt at the start of a line is followed by quiet. A prompt inside an
answer is followed by more text and does not count. Its states and their moves are EXCHANGE in
hostlink.link.states.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from hostlink.link.core import Step
from hostlink.link.pacing import Pacing, ends_with_prompt
from hostlink.link.states import EXCHANGE, CoreState, StatedCore
from hostlink.link.typed import Outcome, Typed

_QUIET_AFTER_STORING_S = 0.3  # for boards that confirm a line only by silence
_NEXT_PAGE = b" "  # turns a page where a line end does not: common practice, no source
_PAGE_ROWS = 4  # rows after a nudge that show that the answer continues page by page
QUIET_WITHOUT_PROMPT_S = 1.0  # common practice, no source: no board pauses that long in a listing


@dataclass(frozen=True, slots=True)
class Reach:
    """The limits at which an exchange gives up.

    attempts: how many times the text is typed. nudges: how many times in a row the line end is sent
    again if no prompt comes, unless the answer continues page by page (0 for a command that may run
    long: then only longest_s ends the wait). silence_s: seconds without a byte that count as
    silence, None for the pacing's patience. longest_s: seconds for typing and answer together.
    most_bytes: the largest answer, and the most that may come back while the text is typed.
    may_enter_wrong: whether to enter a wrongly echoed line to get rid of it, if the
    board has no key to cancel it; harmless for a command, but not for an answer to a program.
    """

    attempts: int = 12
    nudges: int = 3
    silence_s: float | None = None
    longest_s: float = 120.0
    most_bytes: int = 65_536
    may_enter_wrong: bool = True


class Exchange(StatedCore):
    """Type `text` and collect the answer. Results: `outcome`, `answer`, `typed`.

    typed: the typing of the line. halts: the unfinished row at each silence of the board within its
    answer. nudge_key: the key that made it continue, at first the line end. unprompted: what came
    before the first nudge.
    """

    def __init__(
        self,
        text: bytes,
        pacing: Pacing,
        reach: Reach | None = None,
        *,
        on_answer: Callable[[bytes], None] | None = None,
    ) -> None:
        super().__init__(EXCHANGE)
        reach = reach or Reach()
        self.outcome = Outcome.SILENT
        self.answer = b""
        self.nudged = 0
        self.halts: list[bytes] = []
        self.nudge_key = pacing.line_end
        self.unprompted = b""
        self.typed = Typed(
            text,
            pacing,
            attempts=reach.attempts,
            may_enter_wrong=reach.may_enter_wrong,
            longest_s=reach.longest_s,
            most_bytes=reach.most_bytes,
        )
        self._numbered = text.lstrip(b" ")[:1].isdigit()
        self._pacing = pacing
        self._reach = reach
        self._on_answer = on_answer
        self._buffer = bytearray()
        self._last = 0.0
        self._ends_at: float | None = None
        self._nudges_in_row = 0
        self._nudged_at = 0  # position in the buffer where the answer to the last nudge begins

    @property
    def repairs(self) -> int:
        """Return how many times the line had to be taken back and typed again."""
        return self.typed.repairs

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return what to type next and when to call again (seconds)."""
        if self._ends_at is None:
            self._ends_at = now + self._reach.longest_s
        if self._course.state is CoreState.TYPING:
            return self._typing(now, received)
        if received:
            self._last = now
        if now > self._ends_at:
            talking = now - self._last < self._pacing.quiet_s
            return self._finish(Outcome.FLOODING if talking else Outcome.SILENT)
        return self._collecting(now, received)

    def _typing(self, now: float, received: bytes) -> Step:
        step = self.typed.step(now, received)
        if self.typed.committed:
            self._course.move(CoreState.COLLECTING)
            self._last = now + len(step.write) * self._pacing.byte_s
            return Step(step.write, self._last + self._silence())
        if self.typed.done:
            self._buffer[:] = self.typed.heard
            return self._finish(self.typed.outcome)
        return step

    def _finish(self, outcome: Outcome) -> Step:
        self.outcome = outcome
        self.answer = bytes(self._buffer)
        self._course.move(CoreState.DONE)
        return Step()

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
        """Return whether the first prompt ends the answer, since a numbered line is stored by then.

        That is not so for a direct command, whose output may begin like the prompt.
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
        """Send a key after silence to get a prompt or the next page; give up after some of them."""
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
