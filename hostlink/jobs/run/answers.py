"""Answers for a program that asks for input."""

from __future__ import annotations

from collections.abc import Iterable

from hostlink.board.dialogue.events import Warned
from hostlink.errors import (
    ListingError,
    RefusedError,
)
from hostlink.jobs.events import Emit
from hostlink.link.running import Answers
from hostlink.listing import to_bytes
from hostlink.words import safe


class Given:
    """Answers that are all known in advance."""

    live = False

    def __init__(self, lines: Iterable[str] = ()) -> None:
        self._lines = list(lines)

    @property
    def left(self) -> int:
        """Return how many answers are left."""
        return len(self._lines)

    def take(self) -> str | None:
        """Return the next answer. Raises EOFError if none is left."""
        if not self._lines:
            raise EOFError
        return self._lines.pop(0)


class AnswerBytes:
    """Convert answers to the bytes to type.

    An answer that cannot be typed ends the run; a person is warned and asked again instead.
    """

    def __init__(self, answers: Answers[str], charset: str, emit: Emit) -> None:
        self.live = answers.live
        self._answers = answers
        self._charset = charset
        self._emit = emit

    def take(self) -> bytes | None:
        """Return the next answer as bytes, None if there is none yet.

        Raises EOFError if none will follow, RefusedError if it cannot be typed.
        """
        line = self._answers.take()
        if line is None:
            return None
        try:
            data = to_bytes(line, self._charset)
            if not line.isprintable():
                # The board would act on it instead of taking it as text.
                raise ListingError(f'"{safe(line[:40])}" holds a control character.')
        except ListingError as error:
            if self.live:
                self._emit(Warned(f"Not typed: {error.what} Type the answer again."))
                return None
            raise RefusedError(f"The program was not answered: {error.what}") from error
        return data
