"""Many listings at once: a folder or a zip file taken into the archive, programs given out."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.advice import Advice
from hostlink.app.aside import aside
from hostlink.app.screens.dialogues import Fill, ask, ask_to_replace
from hostlink.app.sentences import WHICH_PROGRAMS
from hostlink.app.ways import advised
from hostlink.errors import HostlinkError
from hostlink.jobs.collecting import Collected, Gathered, gather, keep_all
from hostlink.jobs.files import TakenError, named_path
from hostlink.jobs.giving import every_program, give_out
from hostlink.jobs.listing_source import find_material, is_file
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

_MOST_NAMED = 6


def is_many(path: Path) -> bool:
    """Return whether a name is that of a folder or a zip file."""
    # Unlike Path.is_dir this never raises.
    return (path.suffix.lower() == ".zip" and is_file(path)) or os.path.isdir(path)  # noqa: PTH112


def take_in(app: DeskApp, source: Path) -> None:
    """Show what a folder or zip file holds, and keep it in the archive after consent."""
    profile = app.boards.profile

    def read(gathered: Gathered) -> None:
        count = len(gathered.materials)

        def held(collected: Collected) -> None:
            app.desk.shelf.renew()
            app.desk.sheet_pane.check()
            new = sum(one.is_new for _, one in collected.kept)
            old = len(collected.kept) - new
            failed = collected.left_out[len(gathered.left_out) :]
            more = f" {len(failed):,} could not be kept. {_named(failed)}" if failed else ""
            app.tell(f"{plural(new, 'listing')} kept, {old:,} held already.{more}")

        def keep() -> None:
            aside(app, lambda: keep_all(app.archive, gathered, profile), held)

        answer = ("keep", f"Keep {plural(count, 'listing')} in the archive", keep)
        holds = f"{source} holds {plural(count, 'listing')}."
        leave = "Leave them" if count else "Good"
        ask(app, holds, *([answer] if count else []), leave=leave, why=_left_out(gathered))

    app.tell(f"Reading {source}...")
    aside(app, lambda: gather([source], profile), read)


def _left_out(gathered: Gathered) -> str:
    rows = _rows_of(gathered.left_out)
    if gathered.passed_over:
        rows.append(f"{plural(len(gathered.passed_over), 'other file')} passed over.")
    return "\n".join(rows) or "Each becomes a revision of the program of its file's name."


def _rows_of(left_out: Sequence[tuple[str, Advice]]) -> list[str]:
    """Return a row for each thing left out, then how many more there are."""
    rows = [f"Left out: {where}. {advised(why)}" for where, why in left_out[:_MOST_NAMED]]
    if len(left_out) > _MOST_NAMED:
        rows.append(f"And {len(left_out) - _MOST_NAMED:,} more are left out.")
    return rows


def _named(left_out: Sequence[tuple[str, Advice]]) -> str:
    return " ".join(_rows_of(left_out))


def ask_to_give(app: DeskApp) -> None:
    """Ask where to and which programs, then write them as files."""

    def answered(given: dict[str, str] | None) -> None:
        if given is not None:
            _give(app, given["file"], given["programs"].split(), replacing=False)

    app.push_screen(
        Fill(
            "Give listings out as files.",
            [("file", "to", "listings.zip"), ("programs", "programs", "")],
            hint=f"To a folder, or one .zip file. {WHICH_PROGRAMS} Enter writes them.",
            path="file",
        ),
        answered,
    )


def _give(app: DeskApp, name: str, words: list[str], *, replacing: bool) -> None:
    if not name:
        return
    output = named_path(name)

    def write() -> tuple[int, tuple[tuple[str, Advice], ...]]:
        named = tuple(find_material(word, app.archive) for word in words)
        gathered = Gathered(named, (), ()) if words else every_program(app.archive)
        left_out = give_out(gathered.materials, output, replace=replacing)
        return len(gathered.materials) - len(left_out), (*gathered.left_out, *left_out)

    def done(written: tuple[int, tuple[tuple[str, Advice], ...]]) -> None:
        count, left_out = written
        told = f"{plural(count, 'listing')} written to {output.absolute()}. {_named(left_out)}"
        app.tell(told.rstrip())

    def failed(error: HostlinkError) -> None:
        if isinstance(error, TakenError):
            ask_to_replace(app, error, lambda: _give(app, name, words, replacing=True))
        else:
            app.show_error(error)

    aside(app, write, done, failed)
