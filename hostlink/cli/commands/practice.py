"""The command practice: the app on the practice board, and the kinds of practice board."""

from __future__ import annotations

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.options import shared
from hostlink.cli.output import as_json, say, table

PRACTICE_PORT = "practice://"
FIRST_LISTING = "shipped:TIDE"


@click.command()
@click.option("--kinds", "show_kinds", is_flag=True, help="Show the kinds of practice board.")
@shared(json=True)
def practice(common: CommonOptions, show_kinds: bool) -> None:
    """Open the app on the practice board, with the shipped programs.

    The practice board is made of software: load a program, run it, save it, restart the board.
    Nothing can break. What you keep goes into an archive of its own, apart from yours.

    With --kinds, show what kinds of practice board there are. In any command, `--port
    practice://NAME?kind=KIND` is a board of that kind; it keeps its kind.
    """
    if show_kinds:
        _show_kinds(common)
        return
    from hostlink.app.start import open_app

    open_app(port=PRACTICE_PORT, archive=common.archive_path, opens=FIRST_LISTING)


def _show_kinds(common: CommonOptions) -> None:
    from hostlink.link.opening import practice_kinds

    kinds = practice_kinds()
    if common.json:
        as_json(kinds)
        return
    table(("kind", "title"), [(kind["kind"], kind["title"]) for kind in kinds])
    say(f"To use a kind: --port {PRACTICE_PORT}NAME?kind=KIND", quiet=common.quiet)
