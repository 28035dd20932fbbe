"""Draw the numbers that a program prints while it runs, in the terminal of `run --plot`.

If standard output and stderr are terminals, rows that continue the drawn columns are only drawn;
everything else that is printed stands above the drawing. Otherwise every row goes to standard
output too. The drawing is on stderr; if that is no terminal, it is printed once, at the end.
"""

from __future__ import annotations

import sys
from threading import Lock

from rich.console import Console, ConsoleOptions, RenderResult
from rich.live import Live
from rich.text import Text

from hostlink.cli.drawing import plot_drawing, plotted
from hostlink.cli.output import data, is_terminal, say
from hostlink.cli.run_screens import QuestionScreen, is_question
from hostlink.jobs.drawing import drawing_of_board
from hostlink.jobs.events import Emit
from hostlink.jobs.session.session import Session
from hostlink.link.running import Answers
from hostlink.publish.numbers import Numbers

_PER_SECOND = 8


class PlotScreen(QuestionScreen):
    """Draw what a program prints; call `close` at its end."""

    def __init__(self, tell: Emit, answers: Answers[str]) -> None:
        super().__init__(tell, answers)
        self._numbers = Numbers()
        self._taking = Lock()  # rich draws in a thread of its own, while rows are taken in another
        self._console = Console(stderr=True, markup=False, highlight=False)
        self._live: Live | None = None
        self._shows_rows = not (sys.stdout.isatty() and is_terminal())

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Give rich the drawing as it is now."""
        if rows := self._drawn():
            yield Text("\n".join(rows), no_wrap=True)

    def _printed(self, text: str) -> None:
        is_seen = self._typist is not None and self._asked != ""  # a question with its answer
        super()._printed(text)
        with self._taking:
            is_drawn = self._numbers.add(text)
        if self._shows_rows:
            data(text)
        elif not (is_drawn or is_seen):
            self._pause()
            data(text)
        if is_drawn and self._live is None and is_terminal():
            self._live = Live(self, console=self._console, refresh_per_second=_PER_SECOND)
            self._live.start()

    def _opened(self, text: str) -> None:
        if self._typist is not None and is_question(text):
            self._pause()
            self._typist.begin()
        super()._opened(text)

    def _pause(self) -> None:
        """Remove the drawing, so that other text can take its place."""
        if self._live is not None:
            self._live.transient = True
            self._live.stop()
            self._live = None

    def close(self) -> None:
        """Leave the whole drawing on the screen."""
        self._pause()
        for row in self._drawn():
            say(row)

    def draw_pins(self, session: Session) -> None:
        """Draw what the program put out at the pins of a practice board."""
        if drawing := drawing_of_board(session):
            plot_drawing(drawing, say)

    def _drawn(self) -> list[str]:
        with self._taking:
            columns = self._numbers.shown
            return [] if columns is None else plotted([columns])
