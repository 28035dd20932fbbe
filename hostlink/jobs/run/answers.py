"""Answers for a program that asks for input."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from hostlink.board.dialogue.events import Warned
from hostlink.errors import ListingError, RefusedError, file_errors
from hostlink.jobs.events import Emit
from hostlink.link.running import Answers
from hostlink.listing import to_bytes
from hostlink.reading import read_at_most
from hostlink.sentences import CHECK_FILE
from hostlink.words import safe

_LARGEST_INPUT = 1 << 20  # bytes


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
    """Convert answers to the bytes to type, and report each to `taken`.

    An answer that cannot be typed ends the run; a person is warned and asked again instead.
    """

    def __init__(
        self, answers: Answers[str], charset: str, emit: Emit, taken: Callable[[str], object]
    ) -> None:
        self.live = answers.live
        self._taken = taken
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
        self._taken(line)
        return data


def read_answers(path: Path) -> list[str]:
    """Return the lines of an input file: one answer each.

    Raises RefusedError if it cannot be read or holds a control character, which the board would
    obey.
    """
    with file_errors(
        RefusedError,
        f"The input file {path} cannot be read",
        kept="Nothing was run.",
        advice=CHECK_FILE,
    ):
        raw = read_at_most(path, _LARGEST_INPUT + 1)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    lines = text.replace("\r\n", "\n").removesuffix("\n").split("\n") if text else []
    bad = [at for at, line in enumerate(lines, 1) if not line.isprintable()]
    if bad or len(raw) > _LARGEST_INPUT:
        why = f"line {bad[0]} holds a control character" if bad else "it is larger than 1 MiB"
        raise RefusedError(
            f"The input file {path} cannot be typed: {why}.",
            kept="Nothing was run.",
            advice="Name a text file with one answer per line.",
        )
    return lines
