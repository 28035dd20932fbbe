"""What commands that make a new listing from another share: writing it, and keeping it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.options import output_option
from hostlink.cli.output import as_json, listing_text, say
from hostlink.jobs.files import write_new

if TYPE_CHECKING:
    from hostlink.board.profile.model import Profile
    from hostlink.jobs.listing_source import Material
    from hostlink.listing import Listing

OUTPUT = output_option("Write the listing to a file.")
KEEP = click.option(
    "--keep",
    is_flag=True,
    help="Keep the listing in the archive, as the next revision of its program.",
)


def give_listing(
    common: CommonOptions, text: str, output: Path | None, told: dict[str, Any]
) -> None:
    """Write a listing to a file or to stdout; with --json print `told` instead."""
    if common.json:
        as_json(told)
    if output is not None:
        write_new(output, text.encode("utf-8", "replace"), replace=common.yes)
        say(f"The listing is written to {output}.", quiet=common.quiet)
    elif not common.json:
        listing_text(text)


def keep_listing(
    common: CommonOptions,
    material: Material,
    listing: Listing,
    profiles: tuple[Profile, Profile],
    note: str,
    unproven: str = "",
) -> str:
    """Keep a listing made from `material` as a revision with that parent; return its spec.

    profiles: of the boards that the two are for. note: how it was made. unproven: why it is
    not proven. Raises UsageError if the listing has no name.
    """
    from hostlink.jobs.keeping_made import keep_made

    with common.archive() as archive:
        kept = keep_made(archive, material, listing, profiles, note, unproven)
    say(f"Kept as {kept.spec}.", quiet=common.quiet)
    return kept.spec
