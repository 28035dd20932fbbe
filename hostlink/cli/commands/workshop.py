"""The commands renumber and shrink."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.commands.listings import material_for
from hostlink.cli.commands.made_listing import KEEP, OUTPUT, give_listing, keep_listing
from hostlink.cli.context import CommonOptions
from hostlink.cli.options import WholeRange, shared
from hostlink.cli.output import say
from hostlink.errors import ExitStatus
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.listing.renumber import Renumbered
    from hostlink.listing.shrinking.shrink import Shrunk

_LEVELS = ("spaces", "remarks", "words", "abbreviations", "lines", "everything")


@click.command()
@click.argument("what")
@click.option(
    "--start",
    type=WholeRange(),
    metavar="NUMBER",
    default=10,
    show_default=True,
    help="The first new number.",
)
@click.option(
    "--step",
    type=WholeRange(),
    metavar="NUMBER",
    default=10,
    show_default=True,
    help="From one to the next.",
)
@click.option("--first", type=WholeRange(), metavar="NUMBER", help="Renumber from this line on.")
@click.option("--last", type=WholeRange(), metavar="NUMBER", help="Renumber up to this line.")
@click.option(
    "--force",
    "forced",
    is_flag=True,
    help="Go on where a jump cannot follow; it is left as it is and named.",
)
@OUTPUT
@shared(profile=True, json=True, yes=True)
def renumber(
    common: CommonOptions,
    what: str,
    start: int,
    step: int,
    first: int | None,
    last: int | None,
    forced: bool,
    output: Path | None,
) -> None:
    """Give a listing new line numbers; every jump follows.

    The listing goes to stdout (or -o FILE). Quoted text and remarks are never touched.
    """
    from hostlink.listing.renumber import renumber as renumber_listing

    material = material_for(common, what)
    profile = common.the_profile()
    made = renumber_listing(
        material.listing,
        profile.rules,
        start=start,
        step=step,
        first=first,
        last=last,
        forced=forced,
    )
    moved = sum(old != new for old, new in made.numbers.items())
    for left in made.unfollowed:
        say(f"Left as it is: {left.typed}")
    say(f"{material.label}: {plural(moved, 'line')} renumbered.", quiet=common.quiet)
    told = {
        "listing": material.label,
        "profile": profile.name,
        "text": made.listing.text(),
        **_renumbered_dict(made),
    }
    give_listing(common, made.listing, output, told)


def _renumbered_dict(made: Renumbered) -> dict[str, object]:
    return {
        "numbers": [{"old": old, "new": new} for old, new in made.numbers.items()],
        "unfollowed": [
            {"number": left.number, "word": left.word, "target": left.target}
            for left in made.unfollowed
        ],
    }


@click.command()
@click.argument("what")
@click.option(
    "--level",
    type=click.Choice(_LEVELS),
    default=_LEVELS[-1],
    show_default=True,
    help="How far to go; each level holds those before it.",
)
@click.option("--to-fit", is_flag=True, help="Stop as soon as the program fits.")
@click.option(
    "--room",
    type=WholeRange(1, 65_535),
    metavar="BYTES",
    help="The bytes that a board has for it, in place of the profile's.",
)
@OUTPUT
@KEEP
@shared(profile=True, json=True, yes=True)
def shrink(
    common: CommonOptions,
    what: str,
    level: str,
    to_fit: bool,
    room: int | None,
    output: Path | None,
    keep: bool,
) -> int:
    """Make a listing smaller; it runs as before.

    The listing goes to stdout (or -o FILE), what each level saved to stderr. Exit status 1 where
    it does not fit even so.
    """
    from hostlink.listing.shrinking.shrink import shrink as shrink_listing

    material = material_for(common, what)
    profile = common.the_profile()
    rules = profile.rules if room is None else profile.rules.with_room(room)
    made = shrink_listing(
        material.listing, rules, level, to_fit=to_fit, size_words=profile.size_words
    )
    if not common.json:
        _say_saving(common, material.label, made)
    told = {
        "listing": material.label,
        "profile": profile.name,
        "text": made.listing.text(),
        **_shrunk_dict(made),
    }
    if keep:
        told["kept"] = keep_listing(
            common, material, made.listing, (profile, profile), "made smaller"
        )
    give_listing(common, made.listing, output, told)
    return ExitStatus.DONE if made.fits else ExitStatus.REFUSED


def _say_saving(common: CommonOptions, label: str, made: Shrunk) -> None:
    from hostlink.listing.shrinking.shrink import LEVELS

    for step in made.steps:
        if step.saved:
            where = f"in {plural(step.lines, 'line')}" if step.lines else "by fewer lines"
            say(
                f"{step.level}: {plural(step.saved, 'byte')} saved {where} ({LEVELS[step.level]})",
                quiet=common.quiet,
            )
    for note in made.notes:
        say(note, quiet=common.quiet)
    limit = f" of {made.limit:,}" if made.limit else ""
    over = "" if made.fits else f", still {plural(made.after - made.limit, 'byte')} over"
    say(
        f"{label}: {made.before:,} bytes before, {made.after:,}{limit} now{over}.",
        quiet=common.quiet and made.fits,
    )


def _shrunk_dict(made: Shrunk) -> dict[str, object]:
    return {
        "before_bytes": made.before,
        "after_bytes": made.after,
        "limit_bytes": made.limit or None,
        "fits": made.fits,
        "steps": [
            {"level": step.level, "saved_bytes": step.saved, "lines": step.lines}
            for step in made.steps
        ],
        "notes": list(made.notes),
    }
