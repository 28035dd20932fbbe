"""The command adapt: a listing for one kind of board rewritten for another."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.commands.made_listing import KEEP, OUTPUT, give_listing, keep_listing
from hostlink.cli.context import CommonOptions
from hostlink.cli.named_listing import material_for
from hostlink.cli.options import ANSWERS, shared
from hostlink.cli.output import say
from hostlink.errors import ExitStatus, UsageError
from hostlink.sentences import LISTING_UNCHANGED
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.proving import Proof
    from hostlink.listing.adapting.adapt import Adapted
    from hostlink.listing.adapting.forms import Guess


@click.command()
@click.argument("what")
@click.option(
    "--from",
    "source_name",
    metavar="PROFILE",
    help="The kind of board it was written for; by default the one that the archive names, or that "
    "the listing's forms suggest.",
)
@ANSWERS
@click.option(
    "--to-fit",
    is_flag=True,
    help="Also make the result smaller, as far as needed to fit.",
)
@OUTPUT
@KEEP
@shared(profile=True, json=True, yes=True)
def adapt(
    common: CommonOptions,
    what: str,
    source_name: str | None,
    input_path: Path | None,
    to_fit: bool,
    output: Path | None,
    keep: bool,
) -> int:
    """Rewrite a listing for a board with another BASIC, and compare both versions.

    --profile names the board to write it for. The listing goes to stdout (or -o FILE), each change
    with its reason and its cost in bytes to stderr. Both versions are run on simulated boards of
    their kinds and compared. Exit status 1 if something has no equivalent on the board, if the
    result prints something else, or if it does not fit; 0 if it could not be run.
    """
    from hostlink.board.profile.file import find_profile
    from hostlink.jobs.adapting import adapt_for, shrunk_to_fit
    from hostlink.jobs.proving import inputs_of, prove
    from hostlink.jobs.run.answers import read_answers

    material = material_for(common, what)
    target = common.the_profile()
    source = find_profile(source_name or _written_for(common, material))
    made = adapt_for(material.listing, source, target)
    made = shrunk_to_fit(made, target) if to_fit else made
    inputs = inputs_of(material) if input_path is None else read_answers(input_path)
    proof = prove(material.listing, made, (source.name, target.name), inputs)
    if not common.json:
        _say_adapted(common, material.label, made, proof)
    told: dict[str, object] = {"listing": material.label}
    told |= {"from": source.name, "profile": target.name, **_adapted_dict(made, proof)}
    if keep and proof.result == "differs":
        say("Nothing was kept: the result does not do what the original does.")
    elif keep:
        how = f"adapted from {source.name} for {target.name}", proof.unproven
        told["kept"] = keep_listing(common, material, made.listing, (source, target), *how)
    give_listing(common, made.listing.text(), output, told)
    good = made.fits and not made.needs and proof.result != "differs"
    return ExitStatus.DONE if good else ExitStatus.REFUSED


def _written_for(common: CommonOptions, material: Material) -> str:
    """Return the profile of the board that a listing is for, guessed from its syntax if need be.

    Raises UsageError if no known kind of board takes it, or if those that do read it differently.
    """
    from hostlink.jobs.language_of import doubt_words, guessed_kind

    if material.shipped is not None:
        return "practice"
    if material.held is not None:
        return material.held.profile
    found = guessed_kind(material, common.the_profile())
    if found.disputed or not found.names:
        why = doubt_words(found) or f"No kind takes all the forms found in it{_forms(found)}."
        raise UsageError(
            f"It is not known for which kind of board {material.label} was written. {why}",
            kept=LISTING_UNCHANGED,
            advice="Name the kind with --from PROFILE.",
        )
    first, *others = found.names
    also = f" So do {', '.join(others)}; name another with --from." if others else ""
    say(
        f"Assumed to be for {first}, which takes the forms found in it{_forms(found)}.{also}",
        quiet=common.quiet,
    )
    return first


def _forms(found: Guess) -> str:
    """Return the language forms that support a guess, each with a line that has it."""
    told = [f"{form.what} (line {form.lines[0]})" for form in found.forms[:4]]
    return f": {', '.join(told)}" if told else ""


def _say_adapted(common: CommonOptions, label: str, made: Adapted, proof: Proof) -> None:
    from hostlink.jobs.adapting import change_rows, need_words

    quiet = common.quiet
    for row in (row for change in made.changes for row in change_rows(change)):
        say(row, quiet=quiet)
    for need in made.needs:
        say(need_words(need))
    for note in made.notes:
        say(note, quiet=quiet)
    say(proof.says, quiet=quiet and proof.result != "differs")
    limit = f" of {made.limit:,}" if made.limit else ""
    over = "" if made.fits else f", {plural(made.after - made.limit, 'byte')} over"
    say(
        f"{label}: {plural(len(made.changes), 'line')} changed, {made.after:,}{limit} bytes{over}.",
        quiet=quiet and made.fits,
    )


def _adapted_dict(made: Adapted, proof: Proof) -> dict[str, object]:
    return {
        "text": made.listing.text(),
        "before_bytes": made.before,
        "after_bytes": made.after,
        "limit_bytes": made.limit or None,
        "fits": made.fits,
        "changes": [asdict(change) for change in made.changes],
        "needs": [asdict(need) for need in made.needs],
        "notes": list(made.notes),
        "proof": {"result": proof.result, "says": proof.says},
    }
