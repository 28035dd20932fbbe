"""Reporting a firmware write in sentences: "page 12 of 220 written and read back"."""

from __future__ import annotations

import click

from hostlink.cli.output import is_terminal
from hostlink.cli.progress import Teller
from hostlink.cli.ways import COMMANDS
from hostlink.jobs.event_words import event_words
from hostlink.jobs.events import BackupKept, BoardAnswered, Event, PageProven, PagesRead
from hostlink.words import safe

_EVERY = 32  # pages between two lines if stderr is not a terminal


class PageTeller(Teller):
    """Report page counts, on a terminal in one line that is overwritten."""

    def __init__(self, *, quiet: bool = False) -> None:
        super().__init__(quiet=quiet)
        self._silent = quiet
        self._open_line = ""

    def __enter__(self) -> PageTeller:
        return self  # sentences only; no live display

    def emit(self, event: Event) -> None:
        """Report an event; page counts overwrite one another on a terminal."""
        if isinstance(event, PagesRead | PageProven):
            self._page(event_words(event, COMMANDS), event.done, event.pages)
        elif isinstance(event, BackupKept | BoardAnswered):
            self._line(event_words(event, COMMANDS))
        else:
            self._end_line()
            super().emit(event)

    def close(self) -> None:
        """End the open line of page counts, then the progress display."""
        self._end_line()
        super().close()

    def _page(self, text: str, done: int, pages: int) -> None:
        if self._silent:
            return
        if is_terminal():
            click.echo("\r" + text.ljust(len(self._open_line)), nl=False, err=True)
            self._open_line = text
        elif done % _EVERY == 0 or done == pages:
            click.echo(text, err=True)

    def _line(self, text: str) -> None:
        self._end_line()
        if not self._silent:
            click.echo(safe(text), err=True)

    def _end_line(self) -> None:
        if self._open_line:
            click.echo("", err=True)
            self._open_line = ""
