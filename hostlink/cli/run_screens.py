"""What a person sees of a run: its questions only, or all that the program prints.

On a terminal, the terminal itself edits and shows the typed line; the board's echo of it is not
shown a second time.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import click

from hostlink.cli.input_lines import InputLines
from hostlink.cli.output import data
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.jobs.events import Emit, Event
    from hostlink.link.running import Answers


def is_question(text: str) -> bool:
    """Return whether a row that has not ended looks like a question."""
    return text.rstrip().endswith(("?", ":"))


class QuestionScreen:
    """Show nothing but the questions that a person has to answer, on stderr."""

    def __init__(self, tell: Emit, answers: Answers[str]) -> None:
        self.rows: list[str] = []
        self._tell = tell
        self._answers = answers
        self._typist = answers if isinstance(answers, InputLines) and answers.live else None
        self._asked = ""  # the question of the row that has not ended

    def emit(self, event: Event) -> None:
        """Process an event of the run."""
        from hostlink.jobs.events import InputTyped, RowOpen, RowPrinted

        if isinstance(event, RowPrinted):
            self.rows.append(event.text)
            self._printed(event.text)
        elif isinstance(event, RowOpen):
            self._opened(event.text)
        elif isinstance(event, InputTyped):
            self._typed(event.text)
        else:
            self._tell(event)

    def close(self) -> None:
        """Show what is left to show when the run is over."""

    def _printed(self, text: str) -> None:  # noqa: ARG002
        """Handle the end of an output row."""
        self._asked = ""

    def _opened(self, text: str) -> None:
        """Handle part of an output row."""
        if self._answers.live and is_question(text):
            click.echo(safe(text.removeprefix(self._asked)), nl=False, err=True)
            self._asked = text

    def _typed(self, text: str) -> None:
        """Handle an answer that was typed to the board."""


class RunScreen(QuestionScreen):
    """Print a program's output on stdout, each part of a row as it arrives."""

    def __init__(self, tell: Emit, answers: Answers[str]) -> None:
        super().__init__(tell, answers)
        self._shown = ""  # of the row that has not ended
        self._began = time.monotonic()
        self._echo = ""  # what the person typed after it, which is on the screen already
        self._entered = False  # the person typed the line end too

    def _printed(self, text: str) -> None:
        rest = self._rest(text)
        if rest or not self._entered:
            data(rest)
        self._shown = self._echo = ""
        self._entered = False
        self._began = time.monotonic()

    def _opened(self, text: str) -> None:
        if rest := self._rest(text):
            click.echo(safe(rest), nl=False)
            self._shown, self._echo = text, ""
        if self._typist is not None and is_question(text):
            self._typist.begin()

    def _typed(self, text: str) -> None:
        """Note that the terminal already shows the answer, if a person typed it on this row."""
        if self._typist is not None and self._typist.typed_at >= self._began:
            self._echo = text
            self._entered = True

    def _rest(self, text: str) -> str:
        """Return the part of a row not yet printed; a board may echo small letters as capitals."""
        new = text[len(self._shown) :]
        if self._echo.upper().startswith(new.upper()):
            return ""
        if new.upper().startswith(self._echo.upper()):
            return new[len(self._echo) :]
        return new
