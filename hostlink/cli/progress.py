"""Reporting a job on stderr: a live line on a terminal, otherwise a sentence per phase."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from hostlink.advice import Ways
from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Warned
from hostlink.cli.names import GIVEN_PORT
from hostlink.cli.output import as_called, is_terminal, say
from hostlink.cli.ways import COMMANDS, at_port
from hostlink.jobs.event_words import event_words
from hostlink.jobs.events import AlreadyKept, Event, KeptAs, Rescued
from hostlink.words import sent_again

if TYPE_CHECKING:
    from hostlink.cli.live import LiveLines


class Teller:
    """Report events. Use as a context manager around a job and pass `emit` to it."""

    def __init__(self, *, quiet: bool = False, by: Ways = COMMANDS) -> None:
        self._quiet, self._by = quiet, by
        self._live: LiveLines | None = None
        self._task: Any = None
        self._repairs = 0
        context = click.get_current_context(silent=True)
        self._port: str = context.meta.get(GIVEN_PORT, "") if context is not None else ""

    def __enter__(self) -> Teller:
        if is_terminal() and not self._quiet:
            from hostlink.cli.live import LiveLines

            self._live = LiveLines(
                "{task.description}", "{task.fields[detail]}", bar=24, time_left=True
            )
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the live line, so that what follows stands below it."""
        if self._live is not None:
            self._live.stop()
            self._live = None

    def emit(self, event: Event) -> None:
        """Report one event of a job on standard error."""
        if isinstance(event, Phase):
            self._phase(event.words)
        elif isinstance(event, LineSent):
            self._sent(event)
        elif isinstance(event, LineRepaired):
            self._repairs += 1
            self._say(event_words(event, self._by))
        elif isinstance(event, Captured):
            self._detail(event_words(event, self._by))
        elif isinstance(event, Warned | Rescued | AlreadyKept | KeptAs):
            self._say(event_words(event, self._by))

    def _say(self, text: str) -> None:
        text = at_port(text, self._port)
        if self._live is not None:
            self._live.say(as_called(text))
        else:
            say(text, quiet=self._quiet)

    def _phase(self, text: str) -> None:
        if self._live is None:
            say(f"{text}...", quiet=self._quiet)
            return
        if self._task is not None:
            self._live.remove(self._task)
        self._task = self._live.add(text, detail="")

    def _detail(self, text: str) -> None:
        if self._live is not None and self._task is not None:
            self._live.update(self._task, detail=text)

    def _sent(self, event: LineSent) -> None:
        if self._live is None or self._task is None:
            return
        again = f", {sent_again(self._repairs)}" if self._repairs else ""
        detail = (
            f"line {event.number}, {event.sent_lines} of {event.all_lines} lines, "
            f"{event.sent_bytes:,} of {event.all_bytes:,} bytes{again}"
        )
        self._live.update(
            self._task, total=event.all_lines, completed=event.sent_lines, detail=detail
        )
