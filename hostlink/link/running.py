"""Running a program on the board: passing on its output and answering its questions.

Rules:
1. The line end of the command and of each answer is sent only after the text was echoed correctly.
   An answer is typed one character at a time, so that a program that does not listen gets only one.
2. Nothing is typed while the program prints. An answer is sent when the program asks (see
   hostlink.link.hearing). If that is uncertain, a number gets a leading blank: a board may buffer
   what a busy program does not read and take it at its prompt, where a digit would begin a line.
3. An answer that the program does not read is kept and typed again the next time the program is
   silent, after increasing pauses.
4. Time spent waiting for a person's answer does not count towards the program's time limit.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from enum import Enum
from typing import Protocol, TypeVar

from hostlink.link.core import Step
from hostlink.link.hearing import MAY_ASK_AFTER_S, Hearing
from hostlink.link.pacing import Pacing
from hostlink.link.states import RUNNING, CoreState, StatedCore
from hostlink.link.typed import Typed

_LOOK_AGAIN_S = 0.05
_MOST_TRIES = 12  # for one answer
_ATTEMPTS = 3  # for each try, if the echo is wrong
_LONGEST_PAUSE_S = 60.0  # between two tries of an answer that was not read


class End(Enum):
    """How a run ended."""

    PROMPT = "prompt"  # the program ended
    UNTYPED = "untyped"  # the command could not be typed correctly
    UNANSWERED = "unanswered"  # the program asks, and there is no more input
    DAMAGED = "damaged"  # an answer was echoed wrongly and could not be corrected
    LATE = "late"  # it ran longer than allowed
    FLOODING = "flooding"  # it printed more than was allowed


_Answer = TypeVar("_Answer", covariant=True)


class Answers(Protocol[_Answer]):
    """A source of answers (text, or bytes as they are typed) for a program that asks for input."""

    @property
    def live(self) -> bool:
        """Return whether a person types the answers; waiting for one does not count as run time."""

    def take(self) -> _Answer | None:
        """Return the next line, None if there is none yet. Raises EOFError if none will follow."""


class Running(StatedCore):
    """Run a program. Results: `end`, `repairs`, and `row` (the last, unfinished row of output).

    command: the command that starts it. longest_s: time limit in seconds. most_bytes: limit of the
    output. heard: called with the bytes received, echoed answers included. typing: called with each
    answer before it is typed, again for an answer that has to be repeated.
    """

    def __init__(
        self,
        command: bytes,
        pacing: Pacing,
        answers: Answers[bytes],
        *,
        longest_s: float,
        most_bytes: int,
        heard: Callable[[bytes], None],
        typing: Callable[[bytes], None] = lambda _: None,
    ) -> None:
        super().__init__(RUNNING)
        self.end: End | None = None
        self.repairs = 0
        self._pacing = pacing
        self._answers = answers
        self._deadline = longest_s  # a duration until the first step, then a clock time
        self._most_bytes = most_bytes
        self._heard = heard
        self._on_typing = typing
        self._hearing = Hearing(pacing)
        self._typed = Typed(command, pacing)  # the command, or the answer typed last
        self._answer: bytes | None = None  # the next answer to type
        self._answered = False  # at least one answer was taken
        self._input_is_over = False
        self._tries = 0
        self._try_again_at = 0.0
        self._stray = b""
        self._question = b""
        self._was_certain = False  # that the program asked
        self._end_repeated = False
        self._now: float | None = None

    @property
    def row(self) -> bytes:
        """Return the last row of output, as far as it has come."""
        return self._hearing.row

    @property
    def is_quiet(self) -> bool:
        """Return whether the program was silent when the run ended."""
        return self._now is not None and self._now >= self._hearing.asks_at

    def step(self, now: float, received: bytes) -> Step:
        """Take output of the program; return what to type next and when to call again (seconds)."""
        if self._now is None:
            self._deadline += now
        elif self._course.state is CoreState.WAITING:
            self._deadline += now - self._now
            self._course.move(CoreState.LISTENING)
        self._now = now
        if received and self._course.state is not CoreState.TYPING:
            self._take(now, received)
        if self._most_bytes < 0:
            return self._finish(End.FLOODING)
        if self._course.state is CoreState.LISTENING:
            return self._listening(now)
        return self._typing(now, received)

    def _take(self, now: float, data: bytes) -> None:
        self._hearing.take(now, data)
        self._most_bytes -= len(data)
        self._try_again_at = 0.0
        self._heard(data)

    def _finish(self, end: End) -> Step:
        self._course.move(CoreState.DONE)
        self.end = end
        return Step()

    # --- typing ------------------------------------------------------------------------------

    def _typing(self, now: float, received: bytes) -> Step:
        typed = self._typed
        step = typed.step(now, received)
        if not typed.done:
            return step
        self.repairs += typed.repairs
        if typed.committed:
            self._committed(now + len(step.write) * self._pacing.byte_s)
            return step
        if self._course.state is CoreState.TYPING:
            return self._finish(End.UNTYPED)
        return self._not_taken(typed, now)

    def _committed(self, now: float) -> None:
        is_answer = self._course.state is CoreState.ANSWERING
        self._course.move(CoreState.LISTENING)
        self._hearing.begin(now)
        self._end_repeated = False
        self._stray = b""
        self._tries = 0
        if not is_answer:
            return
        self._answered = True
        answer, self._answer = self._answer or b"", None
        if not self._pacing.echo:
            self._heard(answer + b"\n")

    def _not_taken(self, typed: Typed, now: float) -> Step:
        """Decide what to do about an answer that was echoed wrongly or not at all."""
        self._tries += 1
        if self._may_hold_rubbish(typed.echo_heard) or self._tries >= _MOST_TRIES:
            return self._finish(End.DAMAGED)
        self._course.move(CoreState.LISTENING)
        if not typed.echo_heard:
            self._try_again_at = now + min(MAY_ASK_AFTER_S * 2**self._tries, _LONGEST_PAUSE_S)
        return self._listening(now)

    def _may_hold_rubbish(self, echo_heard: bool) -> bool:
        """Return whether wrongly received characters may remain in the board's input line.

        They would become part of the next answer. Further text in the row may also be output of a
        program that did not ask.
        """
        row, question = self._hearing.row, self._question
        if echo_heard:
            return not row or not question.endswith(row)  # the question was not repeated
        can_undo = bool(self._pacing.line_cancel or self._pacing.erase)
        goes_on = row != question and row.startswith(question)
        return goes_on and (self._was_certain or not can_undo)

    def _type(self, answer: bytes, now: float) -> Step:
        """Start typing an answer."""
        self._was_certain = self._hearing.asks_plainly
        text = answer if self._was_certain or not answer[:1].isdigit() else b" " + answer
        # After a cancelled line the board repeats the question, so that serves as the prompt.
        self._question = self._hearing.row
        pacing = dataclasses.replace(self._pacing, prompt=self._question, line_window=1)
        self._course.move(CoreState.ANSWERING)
        self._stray += text[:1]
        self._on_typing(text)
        self._typed = Typed(text, pacing, attempts=_ATTEMPTS, may_enter_wrong=False)
        return self._typing(now, b"")

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
        """Send the line end again, once, if not even its echo came back.

        It may have been lost, and an answer typed now would be appended to the same line.
        """
        if self._end_repeated:
            return Step(b"", self._deadline)
        self._end_repeated = True
        self._hearing.begin(now)
        return Step(self._pacing.line_end, min(now + MAY_ASK_AFTER_S, self._deadline))

    def _asked(self, now: float) -> Step:
        """Answer a program that asks, or may be asking, for input."""
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
        if self._answers.live and self._hearing.row:
            self._course.move(CoreState.WAITING)
        return Step(b"", now + _LOOK_AGAIN_S)
