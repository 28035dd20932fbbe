"""Choosing several programs at once: by name, by tag or by a search."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.output import say
from hostlink.cli.ways import in_commands
from hostlink.errors import UsageError

if TYPE_CHECKING:
    from hostlink.advice import Advice
    from hostlink.jobs.collecting import Gathered

F = TypeVar("F", bound=Callable[..., Any])


def program_choice(function: F) -> F:
    """Add the argument PROGRAMS and the options that choose programs, for `chosen_listings`."""
    for add in (
        click.option("--tag", metavar="TAG", help="Every program with this tag."),
        click.option(
            "--find",
            "words",
            default="",
            metavar="WORDS",
            help="Every program that a search for these words finds.",
        ),
        click.argument("programs", nargs=-1),
    ):
        function = add(function)
    return function


def chosen_listings(
    common: CommonOptions, programs: tuple[str, ...], tag: str | None, words: str
) -> Gathered:
    """Return the named listings, each once; else the chosen programs, or all if none is chosen.

    Raises UsageError if programs are both named and chosen by an option.
    """
    from hostlink.cli.named_listing import material_for
    from hostlink.jobs.giving import chosen_programs, named_listings, passed_over_words

    if programs:
        if tag is not None or words:
            raise UsageError("Name programs, or choose them by --tag and --find.")
        return named_listings(programs, partial(material_for, common))
    with common.archive(create=False, read_only=True) as archive:
        chosen = chosen_programs(archive, tag, words)
    if private := passed_over_words(len(chosen.passed_over)):
        say(private, quiet=common.quiet)
    return chosen


def left_out_dicts(left_out: Sequence[tuple[str, Advice]]) -> list[dict[str, str]]:
    """Return the JSON for what was left out of many listings, and why."""
    return [{"where": where, "why": in_commands(why)} for where, why in left_out]


def tell_left_out(left_out: Sequence[tuple[str, Advice]]) -> None:
    """Say what was left out of many listings, and why."""
    for where, why in left_out:
        say(f"Left out: {where}. {in_commands(why)}")
