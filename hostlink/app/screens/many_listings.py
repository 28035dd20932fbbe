"""Keep all listings of a folder or zip file, and write programs as files, a booklet or a site."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.advice import Advice
from hostlink.app.aside import aside
from hostlink.app.screens.dialogues import ask, ask_to_replace
from hostlink.app.screens.filling import Fill
from hostlink.app.screens.offers import offer_programs
from hostlink.app.sentences import WHICH_PROGRAMS
from hostlink.app.ways import in_keys
from hostlink.errors import HostlinkError
from hostlink.jobs.collecting import Collected, Gathered, gather, keep_all
from hostlink.jobs.files import TakenError, named_path
from hostlink.jobs.giving import chosen_programs, give_out, named_listings, passed_over_words
from hostlink.jobs.listing_source import find_material, is_file
from hostlink.publish.details import COLLECTION_TITLE
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

_MOST_NAMED = 6
Written = tuple[str, Sequence[tuple[str, Advice]]]
"""A sentence on what was written, and what was left out with the reasons."""
Write = Callable[[Path, dict[str, str], Gathered, bool], Written]
"""Writes programs to a path. Parameters: path, answers, programs, whether it may replace a file."""


def is_many(path: Path) -> bool:
    """Return whether a path names a folder or a zip file."""
    # Unlike Path.is_dir this never raises.
    return (path.suffix.lower() == ".zip" and is_file(path)) or os.path.isdir(path)  # noqa: PTH112


def take_in(app: DeskApp, source: Path) -> None:
    """Show the listings in a folder or zip file, and keep them in the archive after consent."""
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
            app.tell(f"{plural(new, 'listing')} kept, {old:,} already in the archive.{more}")

        def keep() -> None:
            aside(app, lambda: keep_all(app.archive, gathered, profile), held)

        answer = ("keep", f"Keep {plural(count, 'listing')} in the archive", keep)
        holds = f"{source} holds {plural(count, 'listing')}."
        leave = "Leave them" if count else "Close"
        ask(app, holds, *([answer] if count else []), leave=leave, why=_left_out(gathered))

    aside(app, lambda: gather([source], profile), read, doing=f"Reading {source}...")


def _left_out(gathered: Gathered) -> str:
    rows = _rows_of(gathered.left_out)
    if gathered.passed_over:
        rows.append(f"{plural(len(gathered.passed_over), 'other file')} passed over.")
    if not rows and gathered.materials:
        rows = ["Each becomes a revision of the program with its file's name."]
    return "\n".join(rows)


def _rows_of(left_out: Sequence[tuple[str, Advice]]) -> list[str]:
    """Return a row for each thing left out, then how many more there are."""
    rows = [f"Left out: {where}. {in_keys(why)}" for where, why in left_out[:_MOST_NAMED]]
    if len(left_out) > _MOST_NAMED:
        rows.append(f"And {len(left_out) - _MOST_NAMED:,} more are left out.")
    return rows


def _named(left_out: Sequence[tuple[str, Advice]]) -> str:
    return " ".join(_rows_of(left_out))


def ask_to_give(app: DeskApp) -> None:
    """Ask which programs to write and where, then write them as files."""
    _ask_to_write(
        app,
        "Give listings out as files.",
        [("file", "to", "listings.zip"), ("programs", "programs", "")],
        "To a folder, or one .zip file. ",
        _write_files,
    )


def ask_to_publish(app: DeskApp) -> None:
    """Ask which programs to write and where, then write them as a booklet or a web site."""
    _ask_to_write(
        app,
        "Publish programs in a booklet or on a web site.",
        [("file", "to", "programs.html"), ("programs", "programs", ""),
         ("title", "title", COLLECTION_TITLE)],
        "A file that ends in .html is a booklet, a folder a web site. ",
        partial(_write_pages, app),
    )  # fmt: skip


def _write_files(output: Path, _: dict[str, str], chosen: Gathered, replacing: bool) -> Written:
    left_out = give_out(chosen.materials, output, replace=replacing)
    count = len(chosen.materials) - len(left_out)
    return f"{plural(count, 'listing')} written to {output.absolute()}.", left_out


def _write_pages(
    app: DeskApp, output: Path, given: dict[str, str], chosen: Gathered, replacing: bool
) -> Written:
    from hostlink.jobs.publishing import to_publish, write_booklet, write_site

    programs, left_out = to_publish(chosen.materials, app.boards.profile, app.archive)
    if output.suffix.lower() == ".html":
        path, title = output.absolute(), given["title"]
        return write_booklet(path, programs, title, replace=replacing), left_out
    made = write_site(output, programs, given["title"])
    remarks = made.remarks(output)
    return " ".join([made.sentence(output.absolute()), *remarks[:_MOST_NAMED]]), left_out


def _ask_to_write(
    app: DeskApp, what: str, fields: list[tuple[str, str, str]], where: str, write: Write
) -> None:
    """Ask for a path and for programs in the archive, and write them there."""
    offer = app.attempt(lambda: offer_programs(app.archive))
    if offer is None:
        return

    def answered(given: dict[str, str] | None) -> None:
        if given is not None and given["file"]:
            _write_out(app, given, write, replacing=False)

    hint = f"{where}{WHICH_PROGRAMS} Enter writes them."
    offers = {"programs": offer}
    app.push_screen(Fill(what, fields, hint=hint, path="file", offers=offers), answered)


def _write_out(app: DeskApp, given: dict[str, str], write: Write, *, replacing: bool) -> None:
    output, words = named_path(given["file"]), given["programs"].split()

    def work() -> Written:
        find = partial(find_material, archive=app.archive)
        chosen = named_listings(words, find) if words else chosen_programs(app.archive)
        told, left_out = write(output, given, chosen, replacing)
        return f"{told} {passed_over_words(len(chosen.passed_over))}".rstrip(), (
            *chosen.left_out,
            *left_out,
        )

    def failed(error: HostlinkError) -> None:
        if isinstance(error, TakenError):
            ask_to_replace(app, error, lambda: _write_out(app, given, write, replacing=True))
        else:
            app.show_error(error)

    aside(app, work, lambda done: app.tell(f"{done[0]} {_named(done[1])}".rstrip()), failed)
