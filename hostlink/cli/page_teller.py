"""A write of firmware told in sentences: "page 12 of 220 written and read back"."""

from __future__ import annotations

import click

from hostlink.cli.output import is_terminal
from hostlink.cli.progress import Teller
from hostlink.jobs.events import BackupKept, BoardAnswered, Event, PageProven, PagesRead
from hostlink.words import safe

_EVERY = 32  # pages between two lines where nobody watches


class PageTeller(Teller):
    """Tells pages in one line that is written over where a person watches."""

    def __init__(self, *, quiet: bool = False) -> None:
        super().__init__(quiet=quiet)
        self._silent = quiet
        self._open_line = ""

    def __enter__(self) -> PageTeller:
        return self  # sentences only; no live display

    def emit(self, event: Event) -> None:
        if isinstance(event, PagesRead):
            self._page(f"page {event.done} of {event.pages} read", event.done, event.pages)
        elif isinstance(event, PageProven):
            text = f"page {event.done} of {event.pages} written and read back"
            self._page(text, event.done, event.pages)
        elif isinstance(event, BackupKept):
            self._line(f"Kept as {event.spec}: {', '.join(event.items)}.")
        elif isinstance(event, BoardAnswered):
            self._line(
                f"The board answered with {event.answer}; the image expects {event.expected}."
            )
        else:
            self._end_line()
            super().emit(event)

    def close(self) -> None:
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
