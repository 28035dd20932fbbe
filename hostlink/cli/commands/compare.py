"""The command compare: two listings, or one listing and its check codes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.named_listing import material_for
from hostlink.cli.options import FILE, shared
from hostlink.cli.output import as_json, data, listing_text, say
from hostlink.errors import ExitStatus
from hostlink.listing import compare as compare_listings
from hostlink.listing import unified

if TYPE_CHECKING:
    from hostlink.jobs.listing_source import Material
    from hostlink.listing import Comparison, Line


@click.command()
@click.argument("a")
@click.argument("b", required=False)
@click.option("--unified", "as_unified", is_flag=True, help="Print a plain unified diff.")
@click.option(
    "--exact",
    is_flag=True,
    help="Also count differences in spacing and case that the board itself removes.",
)
@click.option(
    "--sheet",
    type=FILE,
    help="Compare A with the check codes of a listing sheet instead of B.",
)
@click.option(
    "--codes",
    metavar="FILE",
    help="Compare A with check codes typed into a file (- for standard input): rows such as 10 44.",
)
@shared(profile=True, json=True)
def compare(
    common: CommonOptions,
    a: str,
    b: str | None,
    as_unified: bool,
    exact: bool,
    sheet: Path | None,
    codes: str | None,
) -> int:
    """Compare two listings, or one with its check codes.

    A and B are listings as for `load`. Exit status 1 if they differ.
    """
    if sum(other is not None for other in (b, sheet, codes)) != 1:
        raise click.UsageError("Give one of these: B, --sheet FILE or --codes FILE.")
    if b is None:
        from hostlink.cli.commands.checking import check

        return check(common, a, sheet, codes)
    return _compare_two(common, a, b, as_unified, exact)


def _compare_two(common: CommonOptions, a: str, b: str, as_unified: bool, exact: bool) -> int:
    old, new = material_for(common, a), material_for(common, b)
    rules = None if exact else common.the_profile().rules
    differs = compare_listings(old.listing, new.listing, rules)
    if as_unified:
        listing_text(unified(old.listing, new.listing, old.label, new.label))
    elif common.json:
        as_json(_comparison_dict(old, new, differs))
    else:
        _show_comparison(differs)
    counts = (
        f"{len(differs.added)} added, {len(differs.removed)} removed, "
        f"{len(differs.changed)} changed, {differs.same_count} the same."
    )
    say(f"{old.label} to {new.label}: {counts}", quiet=common.quiet or as_unified)
    return ExitStatus.DONE if differs.equal else ExitStatus.REFUSED


def _show_comparison(differs: Comparison) -> None:
    """Print the lines that differ, in order of number, with changed characters marked below."""
    rows: list[tuple[int, str]] = []
    for word, lines in (("added", differs.added), ("removed", differs.removed)):
        rows += [(_order(line), f"{word:<8}  {line.typed}") for line in lines]
    for change in differs.changed:
        parts = (
            f"changed   {change.old.typed}",
            _marks([(each.old_start, each.old_end) for each in change.stretches]),
            f"     to   {change.new.typed}",
            _marks([(each.new_start, each.new_end) for each in change.stretches]),
        )
        rows += [(_order(change.old), part) for part in parts if part]
    for _, text in sorted(rows, key=lambda row: row[0]):
        data(text)


def _order(line: Line) -> int:
    return line.number if line.number is not None else 1 << 31


def _marks(places: list[tuple[int, int]]) -> str:
    """Return a row with signs below the characters that changed; "" if there are none."""
    row = ""
    for start, end in places:
        row = row.ljust(10 + start) + "^" * (end - start)
    return row.rstrip()


def _comparison_dict(old: Material, new: Material, differs: Comparison) -> dict[str, object]:
    return {
        "a": old.label,
        "b": new.label,
        "equal": differs.equal,
        "same_lines": differs.same_count,
        "added": [line.typed for line in differs.added],
        "removed": [line.typed for line in differs.removed],
        "changed": [
            {
                "number": change.old.number,
                "a": change.old.typed,
                "b": change.new.typed,
                "stretches": [
                    [s.old_start, s.old_end, s.new_start, s.new_end] for s in change.stretches
                ],
            }
            for change in differs.changed
        ],
    }
