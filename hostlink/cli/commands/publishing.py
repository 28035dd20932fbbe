"""The commands sheet, card, booklet and site: pages to print, and a site to put on the web."""

from __future__ import annotations

import dataclasses
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hostlink.cli.commands.choosing import (
    chosen_listings,
    left_out_dicts,
    program_choice,
    tell_left_out,
)
from hostlink.cli.context import CommonOptions
from hostlink.cli.named_listing import material_in
from hostlink.cli.options import MADE_IF_MISSING, output_option, shared
from hostlink.cli.output import as_json, say
from hostlink.errors import ExitStatus
from hostlink.publish.details import COLLECTION_TITLE

if TYPE_CHECKING:
    from hostlink.advice import Advice
    from hostlink.publish.program import PublishedProgram

_TITLE = click.option("--title", default=COLLECTION_TITLE, show_default=True, help="Their heading.")
_PAGE = output_option("The HTML file to write.", required=True)


@click.command()
@click.argument("what")
@_PAGE
@click.option("--title", default="", help="The heading of the page.")
@click.option("--author", default="", help="Who wrote the program.")
@click.option("--licence", default="", help="The licence under which it may be passed on.")
@click.option("--notes", default="", help="Text to show instead of the program's note.")
@shared(profile=True, yes=True)
def sheet(
    common: CommonOptions,
    what: str,
    output: Path,
    title: str,
    author: str,
    licence: str,
    notes: str,
) -> None:
    """Write a listing sheet: a page to type from, with check codes.

    It needs no other file. `hostlink compare PROGRAM --sheet FILE` finds what was typed wrong.
    """
    from hostlink.jobs.publishing import details_of, write_sheet

    with material_in(common, what) as (material, archive):
        known = details_of(material, archive)
    profile = common.the_profile()
    given = {"title": title, "author": author, "licence": licence, "notes": notes}
    details = replace(known, **{name: value for name, value in given.items() if value})
    write_sheet(output, material, profile, details, replace=common.yes)
    say(f"The sheet of {material.label} is written to {output}.", quiet=common.quiet)


@click.command()
@_PAGE
@shared(profile=True, yes=True)
def card(common: CommonOptions, output: Path) -> None:
    """Write a page to print on a kind of board: its words, limits, keys and messages."""
    from hostlink.jobs.publishing import write_card

    profile = common.the_profile()
    write_card(output, profile, replace=common.yes)
    say(f"The card of profile {profile.name} is written to {output}.", quiet=common.quiet)


@click.command()
@program_choice
@_PAGE
@_TITLE
@shared(profile=True, json=True, yes=True)
def booklet(common: CommonOptions, output: Path, title: str, **which: Any) -> int:
    """Write programs as a booklet to print: contents, listings with check codes, an index.

    PROGRAMS as for `load`; without any, the latest revision of every program in the archive.
    Listings without check codes are left out, with exit status 1. Rows such as `author: Ida` and
    `licence: MIT` in a program's note are shown as its author and its licence.
    """
    from hostlink.jobs.publishing import write_booklet

    found, left_out = _published(common, **which)
    told = write_booklet(output, found, title, replace=common.yes)
    if common.json:
        as_json({"file": str(output), **_dict(found, left_out)})
    tell_left_out(left_out)
    say(told, quiet=common.quiet or common.json)
    return ExitStatus.REFUSED if left_out else ExitStatus.DONE


@click.command()
@program_choice
@output_option(
    f"The folder to write; {MADE_IF_MISSING}.",
    click.Path(path_type=Path, file_okay=False),
    required=True,
)
@_TITLE
@shared(profile=True, json=True)
def site(common: CommonOptions, output: Path, title: str, **which: Any) -> int:
    """Write programs as a web site: a page for each, and one with contents and search.

    PROGRAMS as for `booklet`. The pages need no server, and nothing from elsewhere. Each shows what
    the program printed in the expected run, else in the last complete run: read that before you
    publish it. In a folder with a site only pages that differ are written; a folder with anything
    else is refused.
    """
    from hostlink.jobs.publishing import write_site

    found, left_out = _published(common, **which)
    made = write_site(output, found, title)
    if common.json:
        as_json({"folder": str(output), **dataclasses.asdict(made), **_dict(found, left_out)})
    tell_left_out(left_out)
    for remark in made.remarks(output):
        say(remark)
    say(made.sentence(output), quiet=common.quiet or common.json)
    return ExitStatus.REFUSED if left_out else ExitStatus.DONE


def _published(
    common: CommonOptions, **which: Any
) -> tuple[list[PublishedProgram], list[tuple[str, Advice]]]:
    """Return the chosen programs, and those that were left out with the reasons."""
    from hostlink.jobs.publishing import to_publish

    chosen = chosen_listings(common, **which)
    is_kept = any(each.revision is not None for each in chosen.materials)
    reading = common.archive(create=False, read_only=True) if is_kept else nullcontext()
    with reading as archive:
        found, left_out = to_publish(chosen.materials, common.the_profile(), archive)
    return found, [*chosen.left_out, *left_out]


def _dict(found: list[PublishedProgram], left_out: list[tuple[str, Advice]]) -> dict[str, object]:
    return {
        "programs": [
            {"program": each.details.name, "title": each.title, "size_bytes": each.ledger.total,
             "whole_code": each.codes.whole}
            for each in found
        ],
        "left_out": left_out_dicts(left_out),
    }  # fmt: skip
