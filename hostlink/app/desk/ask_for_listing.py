"""Ask which listing to open."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from hostlink.app.sentences import WHAT_CAN_BE_NAMED

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp


def ask_for_listing(app: DeskApp, open_word: Callable[[str], object]) -> None:
    """Ask for a listing; keep all listings of a folder or zip file, open anything else."""
    from hostlink.app.screens.choosing import ChoosePath
    from hostlink.app.screens.many_listings import is_many, take_in
    from hostlink.jobs.collecting import SUFFIXES
    from hostlink.jobs.files import named_path

    def answered(name: str | None) -> None:
        word = (name or "").strip("'\"")
        many = named_path(word)
        if word and is_many(many):
            take_in(app, many)
        elif word:
            open_word(word)

    app.push_screen(
        ChoosePath(
            "Which listing file?",
            hint=f"{WHAT_CAN_BE_NAMED}; or a folder or zip file of listings, to keep them all.",
            suffixes=(*SUFFIXES, ".zip"),
        ),
        answered,
    )
