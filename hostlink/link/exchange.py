"""One line typed with care, and the board's answer to it.

The line end is held back until the echo of the text is right, so that nothing wrong is committed;
a wrong echo is cancelled and typed again. Commands, deletions and repairs always go this way.

States: typing -> committed -> done, and typing -> settling -> cancelling -> typing. The answer is
complete when a prompt stands at the start of a line and the line then stays quiet. A prompt
inside an answer is followed by more and so does not count.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from hostlink.link.core import Step
from hostlink.link.pacing import Pacing

_QUIET_AFTER_STORING_S = 0.3  # where nothing but silence tells that a line was taken
_WIPED_S = 0.03  # in which a board has wiped a character: common practice, no source
_DEAF_SIGNS = 2  # one may be damage
_CUT_SIGNS = 4  # attempts in a row that stop at the same character; a damaged wire errs anywhere
_SHORTEST_LINE = 20  # characters that every board takes in a line: common practice, no source
_LONGEST_SETTLING_S = 5.0  # nothing that one typed line can cause goes on sending for longer
_NEXT_PAGE = b" "  # turns a page where a line end does not: common practice, no source
_PAGE_ROWS = 4  # that come after a nudge show that the answer goes on, page by page
QUIET_WITHOUT_PROMPT_S = 1.0  # common practice, no source: nobody pauses that long in a listing


class Outcome(Enum):
    """How an exchange ended."""

    ANSWERED = "answered"
    SILENT = "silent"  # the line went in, no prompt came back
    UNTYPED = "untyped"  # it could not be typed right; nothing was committed on purpose
    FLOODING = "flooding"  # the board does not stop sending
    DEAF = "deaf"  # the board answers each character with a sign: its memory takes no line any more


class _State(Enum):
    TYPING = "typing"
    SETTLING = "settling"
    CANCELLING = "cancelling"
    COMMITTED = "committed"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Reach:
    """How far an exchange goes before it gives up.

    attempts: times the text is typed. nudges: times in a row that the line end is sent again when
    no prompt comes, unless the answer goes on page by page (0 for a command that may run long: then
    only longest_s ends the wait). silence_s: how long without a byte counts as silence, None for
    the pacing's patience. longest_s: longest wait for the whole answer. most_bytes: largest answer.
    may_enter_wrong: whether a line that was heard wrong is entered to be rid of it, where the board
    has no key that takes it back; a command that is refused does no harm, a wrong answer does.
    """

    attempts: int = 12
    nudges: int = 3
    silence_s: float | None = None
    longest_s: float = 120.0
    most_bytes: int = 65_536
    may_enter_wrong: bool = True


class Exchange:
    """Types `text` and collects the answer. When done: `outcome`, `answer`, `repairs`.

    halts: what stood on the unfinished row each time that the board fell silent in its answer.
    nudge_key: what made it go on; the line end until something else did.
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
        self.committed_wrong = False
        self.echo_heard = False  # at least one character came back right
        self.prompted_early = False  # the last attempt met a prompt before the line end was sent
        self._stops: list[int] = []  # characters that came back right in each wrong attempt
        self._text = text
        self._numbered = text.lstrip(b" ")[:1].isdigit()
        self._pacing = pacing
        self._reach = reach or Reach()
        self._on_answer = on_answer
        self._state = _State.TYPING
        self._sent = 0
        self._echoed = 0
        self._came_back = 0  # bytes since the text began to be typed, right or wrong
        self._attempts = 0
        self._buffer = bytearray()
        self._last = 0.0
        self._began: float | None = None
        self._next_byte_at = 0.0
        self._settling_since = 0.0
        self._erasures = 0  # still to be sent
        self._deaf_signs = 0  # attempts whose first character was answered with the sign
        self._nudges_in_row = 0
        self._nudged_at = 0  # where in the buffer the answer to the last nudge begins

    @property
    def done(self) -> bool:
        return self._state is _State.DONE

    @property
    def committed(self) -> bool:
        """Whether the line end is out; what comes back from then on is the answer."""
        return self._state is _State.COMMITTED

    @property
    def cut_at(self) -> int:
        """How many characters of the text the board takes in a line; 0 where it may take all."""
        last = self._stops[-_CUT_SIGNS:]
        same = len(last) == _CUT_SIGNS and len(set(last)) == 1
        return last[0] if same and last[0] >= _SHORTEST_LINE else 0

    def step(self, now: float, received: bytes) -> Step:
        if self._began is None:
            self._began = self._last = now
            received = b""  # came before anything was typed
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
            # Without an echo to wait for, the last character is given its time by the clock.
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
        """The echo is wrong or missing: let the line fall quiet, then cancel it."""
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
            # No more than the board has taken, and one for what may have stood there before: some
            # step back beyond the line, into what runs, though none by a single step.
            self._erasures = min(self._sent + 1, self._came_back)
            out = self._next_erasures()
        elif not self._reach.may_enter_wrong:
            return self._finish(Outcome.UNTYPED)
        else:
            out = pacing.line_end
            self.committed_wrong = True
        self._last = now + len(out) * pacing.byte_s
        self._settling_since = self._last + 3 * len(out) * pacing.byte_s  # each may wipe a place
        return Step(out, self._last + pacing.quiet_s + pacing.line_s)

    def _next_erasures(self) -> bytes:
        """All that are due; one where the board takes no more at once, lest the others be lost."""
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
        if quiet_at is not None:  # complete, or no prompt will come: quiet ends it, not a nudge
            return self._finish(Outcome.ANSWERED) if now >= quiet_at else Step(b"", quiet_at)
        silent_at = self._last + self._silence()
        return self._nudge(now) if now >= silent_at else Step(b"", silent_at)

    @property
    def _is_stored_silently(self) -> bool:
        """Whether the first prompt ends the answer: a line that is stored, and stored by then.

        What a direct command prints may begin with the very text of the prompt.
        """
        pacing = self._pacing
        return self._numbered and bool(pacing.prompt) and pacing.line_done != "after-prompt"

    def _quiet_at(self, held: bytearray) -> float | None:
        """When the answer may be taken as complete if nothing more comes; None if it may not."""
        pacing = self._pacing
        if pacing.prompt if self._numbered else pacing.direct_end:
            # Without echo nothing but the prompt answers a nudge, right behind what stood before.
            complete = ends_with_prompt(held, pacing) or (
                self.nudged > 0 and held[self._nudged_at :] == pacing.prompt
            )
            return self._last + max(pacing.quiet_s, pacing.guard_s) if complete else None
        if pacing.echo and not held:
            return None  # its line end was not heard
        still_s = _QUIET_AFTER_STORING_S if self._numbered else QUIET_WITHOUT_PROMPT_S
        return self._last + max(still_s, pacing.quiet_s)

    def _nudge(self, now: float) -> Step:
        """Silence without a prompt: ask for a new one."""
        if not self._reach.nudges:
            return Step(b"", now + self._silence())
        since = self._buffer[self._nudged_at :]
        if self.nudged and since.count(b"\n") + since.count(b"\r") > 2 * _PAGE_ROWS:
            self._nudges_in_row = 0
        if self._nudges_in_row >= self._reach.nudges:
            return self._finish(Outcome.SILENT)
        is_ignored = self.nudged > 0 and not since
        if is_ignored and self.halts[-1]:  # it shows a text and wants another key
            self.nudge_key = _NEXT_PAGE if self.nudge_key != _NEXT_PAGE else self._pacing.line_end
        if not is_ignored:
            self.halts.append(bytes(re.split(rb"[\r\n]", self._buffer)[-1]))
        self.nudged += 1
        self._nudges_in_row += 1
        self._nudged_at = len(self._buffer)
        self._last = now
        return Step(self.nudge_key, now + self._silence())


def ends_with_prompt(heard: bytes | bytearray, pacing: Pacing) -> bool:
    """Whether what was heard ends with the prompt, or the word that it is ready, at the start of a
    line.

    A bell may stand before it. A second prompt right behind the first counts too: a board that does
    not end the line when it is asked before it was ready (an interpreter at a real terminal, slow
    to start) prints it so.
    """
    for prompt in (pacing.prompt, pacing.ready):
        end = len(heard)
        while prompt and heard.endswith(prompt, 0, end):
            end -= len(prompt)
        if end < len(heard) and (end == 0 or heard[end - 1] in b"\r\n\a"):
            return True
    return False
