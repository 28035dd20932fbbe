"""A program on the board, from its RUN to the prompt: what it prints, and answers to what it asks.

Rules:
1. The command and each answer are typed with care: their echo is right before their line end goes
   out. An answer is typed a character at a time, so that a program which does not listen gets one.
2. Nothing is typed at a program that prints. An answer goes out when the program asks (see
   hostlink.link.hearing). Where that is not certain, a number has a blank in front. A board may
   keep what a working program does not take, and have it at its prompt in the end: a digit there
   would begin a line of the program.
3. An answer that is not taken is kept, and typed again when the program next falls silent, after
   longer and longer pauses.
4. While a question stands, waiting for a person takes none of the program's time.

States: typing the command -> listening <-> typing an answer -> done.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from enum import Enum
from typing import Protocol

from hostlink.link.core import Step
from hostlink.link.hearing import MAY_ASK_AFTER_S, Hearing
from hostlink.link.pacing import Pacing
from hostlink.link.typed import Typed

_LOOK_AGAIN_S = 0.05
_MOST_TRIES = 12  # of one answer
_ATTEMPTS = 3  # of each, where the board hears it wrong
_LONGEST_PAUSE_S = 60.0  # between two tries of an answer that nobody took


class End(Enum):
    """How a run ended."""

    PROMPT = "prompt"  # the program is done
    UNTYPED = "untyped"  # the command could not be typed right
    UNANSWERED = "unanswered"  # the program asks, and there is no more input
    DAMAGED = "damaged"  # an answer was heard wrong and could not be typed right
    LATE = "late"  # its time is over
    FLOODING = "flooding"  # it printed more than was allowed


class Answers(Protocol):
    """Lines for a program that asks."""

    @property
    def live(self) -> bool:
        """Whether a person types them: the program's time stands still while one is waited for."""

    def take(self) -> bytes | None:
        """The next line, None where it has not come yet. Raises EOFError when none will come."""


class Running:
    """Runs a program. When done: `end`; and `repairs`, `row` (the row that has not ended).

    command: what starts it. longest_s: seconds that it may take. most_bytes: of output.
    heard: called with the bytes that it prints, echoed answers included. typing: called with what
    is typed to it, before its echo comes; once more where an answer was not taken.
    """

    def __init__(
        self,
        command: bytes,
        pacing: Pacing,
        answers: Answers,
        *,
        longest_s: float,
        most_bytes: int,
        heard: Callable[[bytes], None],
        typing: Callable[[bytes], None] = lambda _: None,
    ) -> None:
        self.end: End | None = None
        self.repairs = 0
        self._pacing = pacing
        self._answers = answers
        self._deadline = longest_s  # from the first step on a moment
        self._most_bytes = most_bytes
        self._heard = heard
        self._on_typing = typing
        self._hearing = Hearing(pacing)
        self._typed: Typed | None = Typed(command, pacing)
        self._answer: bytes | None = None  # the one that is to be typed
        self._answering = False  # it is being typed
        self._answered = False  # at least once
        self._input_is_over = False
        self._waits_for_person = False
        self._tries = 0
        self._try_again_at = 0.0
        self._stray = b""
        self._question = b""
        self._was_certain = False  # that it is one
        self._end_repeated = False
        self._now: float | None = None

    @property
    def done(self) -> bool:
        """Return whether the run has ended and `end` says how."""
        return self.end is not None

    @property
    def row(self) -> bytes:
        """Return the last row of output, as far as it has come."""
        return self._hearing.row

    @property
    def is_quiet(self) -> bool:
        """Whether the program had fallen silent when the run ended."""
        return self._now is not None and self._now >= self._hearing.asks_at

    def step(self, now: float, received: bytes) -> Step:
        """Take output of the program; return what to type next and when to call again (seconds)."""
        if self._now is None:
            self._deadline += now
        elif self._waits_for_person:
            self._deadline += now - self._now
        self._now = now
        self._waits_for_person = False
        if received and (self._typed is None or self._answering):
            self._take(now, received)
        if self._most_bytes < 0:
            return self._finish(End.FLOODING)
        if self._typed is not None:
            return self._typing(self._typed, now, received)
        return self._listening(now)

    def _take(self, now: float, data: bytes) -> None:
        self._hearing.take(now, data)
        self._most_bytes -= len(data)
        self._try_again_at = 0.0
        self._heard(data)

    def _finish(self, end: End) -> Step:
        self.end = end
        return Step()

    # --- typing ------------------------------------------------------------------------------

    def _typing(self, typed: Typed, now: float, received: bytes) -> Step:
        step = typed.step(now, received)
        if not typed.done:
            return step
        self._typed = None
        self.repairs += typed.repairs
        if typed.committed:
            self._committed(now + len(step.write) * self._pacing.byte_s)
            return step
        if not self._answering:
            return self._finish(End.UNTYPED)
        return self._not_taken(typed, now)

    def _committed(self, now: float) -> None:
        self._hearing.begin(now)
        self._end_repeated = False
        self._stray = b""
        self._tries = 0
        if not self._answering:
            return
        self._answered = True
        answer, self._answer, self._answering = self._answer or b"", None, False
        if not self._pacing.echo:
            self._heard(answer + b"\n")

    def _not_taken(self, typed: Typed, now: float) -> Step:
        """An answer was heard wrong, or nobody listened."""
        self._answering = False
        self._tries += 1
        if self._may_hold_rubbish(typed.echo_heard) or self._tries >= _MOST_TRIES:
            return self._finish(End.DAMAGED)
        if not typed.echo_heard:
            self._try_again_at = now + min(MAY_ASK_AFTER_S * 2**self._tries, _LONGEST_PAUSE_S)
        return self._listening(now)

    def _may_hold_rubbish(self, echo_heard: bool) -> bool:
        """Whether what was heard wrong may still stand in the line: an answer behind it would be
        another answer. A row that goes on may be the program's own, where it asked for nothing."""
        row, question = self._hearing.row, self._question
        if echo_heard:
            return not row or not question.endswith(row)  # it was not asked anew
        can_undo = bool(self._pacing.line_cancel or self._pacing.erase)
        goes_on = row != question and row.startswith(question)
        return goes_on and (self._was_certain or not can_undo)

    def _type(self, answer: bytes, now: float) -> Step:
        """Begin to type an answer."""
        self._was_certain = self._hearing.asks_plainly
        text = answer if self._was_certain or not answer[:1].isdigit() else b" " + answer
        # What a cancelled line is followed by is the question anew.
        self._question = self._hearing.row
        pacing = dataclasses.replace(self._pacing, prompt=self._question, line_window=1)
        self._answering = True
        self._stray += text[:1]
        self._on_typing(text)
        self._typed = Typed(text, pacing, attempts=_ATTEMPTS, may_enter_wrong=False)
        return self._typing(self._typed, now, b"")

    # --- listening ---------------------------------------------------------------------------

    def _listening(self, now: float) -> Step:
        hearing = self._hearing
        prompt_at = hearing.prompt_at(self._stray)
        if prompt_at is not None:
            return self._finish(End.PROMPT) if now >= prompt_at else Step(b"", prompt_at)
        if now >= self._deadline:
            return self._finish(End.LATE)
        page_prompt = self._pacing.page_prompt
        if page_prompt and hearing.row.endswith(page_prompt):
            hearing.begin(now)
            return Step(self._pacing.page_key, now + self._pacing.patience_s)
        if now < hearing.asks_at:
            return Step(b"", min(hearing.asks_at, self._deadline))
        if self._pacing.echo and not hearing.heard:
            return self._unheard(now)
        if self._pacing.echo and hearing.is_line_end_damaged:
            return self._finish(End.DAMAGED if self._answered else End.UNTYPED)
        return self._asked(now)

    def _unheard(self, now: float) -> Step:
        """Not even the echo of a line end came back: it may have been lost, so it goes out again.

        An answer typed now would go on the same line.
        """
        if self._end_repeated:
            return Step(b"", self._deadline)
        self._end_repeated = True
        self._hearing.begin(now)
        return Step(self._pacing.line_end, min(now + MAY_ASK_AFTER_S, self._deadline))

    def _asked(self, now: float) -> Step:
        """The program asks, or may ask."""
        if self._answer is None and not self._input_is_over:
            try:
                self._answer = self._answers.take()
            except EOFError:
                self._input_is_over = True
        if self._answer is not None:
            if now >= self._try_again_at:
                return self._type(self._answer, now)
            return Step(b"", min(self._try_again_at, self._deadline))
        if self._input_is_over:
            if self._hearing.asks_plainly:
                return self._finish(End.UNANSWERED)
            return Step(b"", self._deadline)
        self._waits_for_person = self._answers.live and bool(self._hearing.row)
        return Step(b"", now + _LOOK_AGAIN_S)
