"""How review prints the cross-reference."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hostlink.cli.output import data, table

if TYPE_CHECKING:
    from hostlink.listing.reviewing.crossref import CrossReference


def show_references(found: CrossReference) -> None:
    """Print the cross-reference on stdout: two tables and a sentence."""
    data("")
    table(
        ["line", "used by"],
        [
            [
                entry.number,
                ", ".join(f"{word} in {number}" for word, number in entry.used)
                + ("" if entry.there else "   (no such line)"),
            ]
            for entry in found.lines
        ],
        right=("line",),
    )
    data("")
    table(
        ["variable", "set in", "read in"],
        [[entry.name, _lines(entry.set_in), _lines(entry.read_in)] for entry in found.variables],
    )
    if found.worked_out:
        data("")
        data(f"Worked out when the program runs: jumps in {_lines(found.worked_out)}.")


def references_dict(found: CrossReference) -> dict[str, object]:
    """Return the JSON for the cross-reference."""
    return {
        "lines": [
            {
                "number": entry.number,
                "there": entry.there,
                "used_by": [{"word": word, "number": number} for word, number in entry.used],
            }
            for entry in found.lines
        ],
        "variables": [
            {"name": entry.name, "set_in": entry.set_in, "read_in": entry.read_in}
            for entry in found.variables
        ],
        "worked_out_in": found.worked_out,
    }


def _lines(numbers: tuple[int, ...]) -> str:
    return ", ".join(map(str, numbers)) or "nowhere"
