"""The commands renumber and shrink."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.commands.made_listing import KEEP, OUTPUT, give_listing, keep_listing
from hostlink.cli.context import CommonOptions
from hostlink.cli.named_listing import material_for
from hostlink.cli.options import WholeRange, shared
from hostlink.cli.output import say
from hostlink.cli.stopping import ask_yes_no
from hostlink.errors import ExitStatus
from hostlink.words import plural

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hostlink.board.profile.model import Profile
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.proving import Proof
    from hostlink.listing import Listing
    from hostlink.listing.parse import Line
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
    help="The distance from one number to the next.",
)
@click.option("--first", type=WholeRange(), metavar="NUMBER", help="Renumber from this line on.")
@click.option("--last", type=WholeRange(), metavar="NUMBER", help="Renumber up to this line.")
@click.option(
    "--force",
    "forced",
    is_flag=True,
    help="Go on even if a jump cannot be updated; it is left as it is and reported.",
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
    give_listing(common, made.listing.text(), output, told)


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
    help="How far to go; each level includes those before it.",
)
@click.option("--to-fit", is_flag=True, help="Stop as soon as the program fits.")
@click.option(
    "--room",
    type=WholeRange(1, 65_535),
    metavar="BYTES",
    help="The bytes that the board has for it, instead of the profile's.",
)
@click.option(
    "--unreached",
    "drop_unreached",
    is_flag=True,
    help="Also remove unreached lines.",
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
    drop_unreached: bool,
    output: Path | None,
    keep: bool,
) -> int:
    """Make a listing smaller; it runs as before.

    The listing goes to stdout (or -o FILE), what each level saved to stderr. Exit status 1 if
    it still does not fit. Unreached lines stay unless you agree: at a terminal when
    asked, else by --unreached, with --yes too if running both versions proves nothing.
    """
    from hostlink.jobs.shrinking import unreached_words
    from hostlink.listing.shrinking.shrink import shrink as shrink_listing
    from hostlink.listing.shrinking.unreached import unreached

    material = material_for(common, what)
    profile = common.the_profile()
    rules = profile.rules if room is None else profile.rules.with_room(room)
    make = partial(
        shrink_listing, material.listing, rules, level, to_fit=to_fit, size_words=profile.size_words
    )
    lines = unreached(material.listing, rules)
    made, proof, doubt = make(), None, ""
    if lines or drop_unreached:
        words, smaller = unreached_words(material.listing, lines, rules), make(without=lines)
        prove = partial(_proof_of, material, smaller.listing, profile) if lines else None
        goes, proof = _goes_without(common, words, drop_unreached, prove)
        made, doubt = (smaller, proof.unproven) if goes and proof else (made, "")
    _say_saving(common, material.label, made)
    told = {"listing": material.label, "profile": profile.name, **_shrunk_dict(made, lines, proof)}
    if keep:
        by, how = (profile, profile), "made smaller"
        told["kept"] = keep_listing(common, material, made.listing, by, how, doubt)
    give_listing(common, made.listing.text(), output, told)
    return ExitStatus.DONE if made.fits else ExitStatus.REFUSED


def _goes_without(
    common: CommonOptions, words: str, drop: bool, prove: Callable[[], Proof] | None
) -> tuple[bool, Proof | None]:
    """Report the lines that are never reached; return whether to remove them, and the proof.

    words: the report. drop: remove them without asking, if that is proven. prove: proves it, None
    if there are no such lines. Without `drop` a person is asked; if nobody is there, they stay.
    """
    from hostlink.jobs.shrinking import proof_words

    is_silent = common.quiet or common.json
    asks = not is_silent and sys.stdin.isatty() and not common.yes
    say(words if asks or drop else f"{words} --unreached removes them.", quiet=is_silent)
    if prove is None or not (asks or drop):
        return False, None
    proof = prove()
    say(proof_words(proof), quiet=common.json or (common.quiet and proof.result == "proven"))
    if proof.result == "differs":
        return False, proof
    is_open = proof.result == "open"
    goes = drop and (common.yes or not is_open)
    if asks and not goes:
        goes = ask_yes_no("Remove them anyway?" if is_open else "Remove them too?")
    elif is_open and not goes:
        say("They stay; --yes removes them anyway.", quiet=is_silent)
    return goes, proof


def _proof_of(material: Material, made: Listing, profile: Profile) -> Proof:
    """Run a listing and the smaller one, both with its known answers; return what that proves."""
    from hostlink.jobs.proving import inputs_of
    from hostlink.jobs.shrinking import prove_shrunk

    return prove_shrunk(material.listing, made, profile, inputs_of(material))


def _say_saving(common: CommonOptions, label: str, made: Shrunk) -> None:
    from hostlink.listing.shrinking.shrink import DOES

    if common.json:
        return
    for step in made.steps:
        if step.saved:
            where = f"in {plural(step.lines, 'line')}" if step.lines else "by fewer lines"
            say(
                f"{step.level}: {plural(step.saved, 'byte')} saved {where} ({DOES[step.level]})",
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


def _shrunk_dict(made: Shrunk, lines: Sequence[Line], proof: Proof | None) -> dict[str, object]:
    return {
        "text": made.listing.text(),
        "before_bytes": made.before,
        "after_bytes": made.after,
        "limit_bytes": made.limit or None,
        "fits": made.fits,
        "steps": [
            {"level": step.level, "saved_bytes": step.saved, "lines": step.lines}
            for step in made.steps
        ],
        "notes": list(made.notes),
        "unreached": [line.number for line in lines],
        "proof": proof and {"result": proof.result, "why": proof.why or None},
    }
