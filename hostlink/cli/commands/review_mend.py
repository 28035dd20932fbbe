"""The commands review and mend, which need no board."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.commands.made_listing import OUTPUT, give_listing
from hostlink.cli.context import CommonOptions
from hostlink.cli.named_listing import material_for
from hostlink.cli.options import shared
from hostlink.cli.output import as_json, data, say, table
from hostlink.errors import ExitStatus
from hostlink.listing import mend as mend_text
from hostlink.listing import review as review_listing
from hostlink.listing.finding import RULES, silenced_in
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.jobs.listing_source import Material
    from hostlink.listing import Finding, Mended, Review


def _show_rules(common: CommonOptions) -> ExitStatus:
    """Print the rules of the review."""
    if common.json:
        as_json([{"rule": rule, "finds": finds} for rule, finds in RULES.items()])
    else:
        table(["rule", "finds"], [[rule, finds] for rule, finds in RULES.items()])
    return ExitStatus.DONE


@click.command()
@click.argument("what", required=False)
@click.option(
    "--cross-reference",
    "with_references",
    is_flag=True,
    help="Also list what goes to each line, and where each variable is set and read.",
)
@click.option(
    "--rules",
    is_flag=True,
    help="List the names of all rules and what each finds.",
)
@click.option(
    "--silence",
    "silenced",
    metavar="RULE",
    multiple=True,
    help="Leave out the findings of a rule (may be repeated). A note on the program that begins "
    "with `silence:` and names rules does the same permanently.",
)
@shared(profile=True, json=True)
def review(
    common: CommonOptions,
    what: str | None,
    with_references: bool,
    rules: bool,
    silenced: tuple[str, ...],
) -> int:
    """Show a listing's byte ledger, whether it fits, its problems.

    Exit status 1 if the board would refuse, lose or change something.
    """
    from hostlink.cli.commands.references import references_dict, show_references
    from hostlink.listing.reviewing.crossref import cross_reference

    if rules:
        return _show_rules(common)
    if what is None:
        raise click.UsageError("Name a listing to review, or --rules.")
    material = material_for(common, what)
    profile = common.the_profile()
    quiet = {*silenced, *_silenced_by_note(common, material)}
    found = review_listing(material.listing, profile.rules, deep=True, silenced=quiet)
    references = cross_reference(material.listing, profile.rules) if with_references else None
    if common.json:
        told = {"listing": material.label, "profile": profile.name, **_review_dict(found)}
        if references is not None:
            told["cross_reference"] = references_dict(references)
        as_json(told)
    else:
        _show_review(found, profile.name)
        if references is not None:
            show_references(references)
    return ExitStatus.REFUSED if found.errors else ExitStatus.DONE


def _silenced_by_note(common: CommonOptions, material: Material) -> frozenset[str]:
    """Return the rules that the program's note in the archive silences."""
    if material.revision is None:
        return frozenset()
    with common.archive(create=False, read_only=True) as archive:
        return silenced_in(archive.program(material.name).note)


def _review_dict(found: Review) -> dict[str, object]:
    ledger = found.ledger
    return {
        "size_bytes": ledger.total,
        "limit_bytes": ledger.limit or None,
        "over_bytes": ledger.over,
        "fits": ledger.fits,
        "silenced": found.silenced,
        "ledger": [
            {
                "number": row.line.number,
                "text": row.line.typed,
                "cost": row.cost,
                "so_far": row.so_far,
                "standing": row.standing,
            }
            for row in ledger.rows
        ],
        "findings": [
            {
                "rule": finding.rule,
                "severity": finding.severity,
                "number": finding.number,
                "row": finding.line_at or None,
                "column": finding.column or None,
                "message": finding.message,
                "advice": finding.advice,
            }
            for finding in found.findings
        ],
    }


def _show_review(found: Review, profile: str) -> None:
    ledger = found.ledger
    table(
        ["cost", "so far", "line"],
        [[row.cost, row.so_far, row.line.typed + _standing(row.standing)] for row in ledger.rows],
        right=("cost", "so far"),
    )
    data("")
    for finding in found.findings:
        data(_finding(finding))
    limit = f" of {ledger.limit:,}" if ledger.limit else ""
    verdict = "fits" if ledger.fits else f"{plural(ledger.over, 'byte')} over"
    if not ledger.limit:
        verdict = "limit not known"
    trouble = f"{plural(len(found.errors), 'error')}, {plural(len(found.warnings), 'warning')}"
    if found.advice:
        trouble += f", advice on {plural(len(found.advice), 'point')}"
    if found.silenced:
        trouble += f", {found.silenced:,} silenced"
    data(f"{ledger.total:,}{limit} bytes for profile {profile}: {verdict}; {trouble}.")


def _standing(standing: str) -> str:
    words = {
        "replaced": "   (replaced below)",
        "deletes": "   (deletes a line)",
        "direct": "   (no line number)",
    }
    return words.get(standing, "")


def _finding(finding: Finding) -> str:
    where = (
        f"line {finding.number}"
        if finding.number is not None
        else (f"row {finding.line_at}" if finding.line_at else "listing")
    )
    if finding.column:
        where += f", column {finding.column}"
    where = "" if finding.names_its_place else f"{where}: "
    return f"{finding.severity}: {where}{finding.message} {finding.advice} ({finding.rule})"


@click.command()
@click.argument("what")
@OUTPUT
@shared(profile=True, json=True, yes=True)
def mend(common: CommonOptions, what: str, output: Path | None) -> None:
    """Repair what pasting and forums do to a listing.

    The mended listing goes to stdout (or -o FILE), every repair to stderr. What may be intended
    is reported and left as it is.
    """
    material = material_for(common, what)
    rules = common.the_profile().rules if common.profile else None
    mended = mend_text(material.text, rules)
    if not common.json:
        for each in mended.mends:
            say(f"row {each.line}: {each.sentence}", quiet=common.quiet)
        for doubt in mended.doubts:
            say(f"row {doubt.line}: left as it is: {doubt.sentence}", quiet=common.quiet)
        say(
            f"{material.label}: {plural(len(mended.mends), 'repair')}, "
            f"{plural(len(mended.doubts), 'doubt')}.",
            quiet=common.quiet,
        )
    give_listing(common, mended.text, output, _mended_dict(material, mended))


def _mended_dict(material: Material, mended: Mended) -> dict[str, object]:
    return {
        "listing": material.label,
        "text": mended.text,
        "mends": [
            {
                "row": each.line,
                "kind": each.kind,
                "before": each.before,
                "after": each.after,
                "sentence": each.sentence,
            }
            for each in mended.mends
        ],
        "doubts": [
            {"row": doubt.line, "kind": doubt.kind, "sentence": doubt.sentence}
            for doubt in mended.doubts
        ],
    }
