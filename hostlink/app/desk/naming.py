"""Ask for a listing's name, and use another program's name only with consent."""

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
    """Ask for the name of a listing, and call `named` with it.

    before: its present name. own: the program that it is a revision of, "" for none.
    """

    def ask_for_text(wrong: str = "") -> None:
        hint = f"{wrong}Letters, digits, - and _."
        app.push_screen(AskText(ASKED_FOR_NAME, before, hint=hint), answered)

    def answered(given: str | None) -> None:
        if not given:
            return
        name = program_name(given) or given
        if not any(map(str.isalnum, name)):
            ask_for_text(f"{given} has no letter and no digit. ")
            return
        revision = _next_revision(app, name)
        if name == own or revision == 1:
            named(name)
            return
        ask(
            app,
            f"The archive already has a program {name}.",
            ("next", f"Make this its revision {revision}", partial(named, name)),
            ("other", "Give it another name", partial(ask_name, app, before, own, named)),
            why="Its revisions stay in either case.",
        )

    ask_for_text()


def _next_revision(app: DeskApp, name: str) -> int:
    """Return the number of a program's next revision, 1 for a new program."""
    try:
        return app.archive.program(name).latest + 1
    except ArchiveError:
        return 1
