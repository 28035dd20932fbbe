"""Asking under which name a listing is kept; another program's name is taken only with consent."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from hostlink.app.screens.dialogues import AskText, ask
from hostlink.app.sentences import ASKED_FOR_NAME
from hostlink.errors import ArchiveError
from hostlink.jobs.listing_source import program_name

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp


def ask_name(app: DeskApp, before: str, own: str, named: Callable[[str], object]) -> None:
    """Ask for the name of a listing, and go on with it.

    before: the name that it has. own: the program that it is a revision of, "" for none.
    """

    def answered(given: str | None) -> None:
        if not given:
            return
        name = program_name(given) or given
        revision = _next_revision(app, name)
        if name == own or revision == 1:
            named(name)
            return
        ask(
            app,
            f"The archive has a program {name} already.",
            ("next", f"Make this its revision {revision}", partial(named, name)),
            ("other", "Give it another name", partial(ask_name, app, before, own, named)),
            why="Its revisions stay in either case.",
        )

    hint = "Letters, digits, - and _."
    app.push_screen(AskText(ASKED_FOR_NAME, before, hint=hint), answered)


def _next_revision(app: DeskApp, name: str) -> int:
    """Return the number of the next revision of a program, 1 for one that is new."""
    try:
        return app.archive.program(name).latest + 1
    except ArchiveError:
        return 1
