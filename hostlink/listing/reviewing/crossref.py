"""Build a cross-reference: uses of each line, and where each variable is set and read."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.listing.parse import Listing
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.references import references
from hostlink.listing.reviewing.variables import uses
from hostlink.listing.rules import Rules


@dataclass(frozen=True, slots=True)
class LineEntry:
    """A line number that other lines refer to. used: (keyword, number of that line), in order.

    there: whether the program contains the line.
    """

    number: int
    there: bool
    used: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class VariableEntry:
    """A variable, in capitals with ( for an array, and the lines that set and read it."""

    name: str
    set_in: tuple[int, ...]
    read_in: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CrossReference:
    """The references in a program. lines: by number. variables: by name.

    worked_out: lines with a jump whose target is computed at run time.
    """

    lines: tuple[LineEntry, ...]
    variables: tuple[VariableEntry, ...]
    worked_out: tuple[int, ...]


def cross_reference(listing: Listing, rules: Rules) -> CrossReference:
    """Build the cross-reference of a program. Never raises on any text."""
    reader = Reader(rules.language)
    held = listing.numbered()
    lines: dict[int, list[tuple[str, int]]] = {}
    sets: dict[str, dict[int, None]] = {}
    reads: dict[str, dict[int, None]] = {}
    worked_out: dict[int, None] = {}
    for number, line in held.items():
        for reference in references(line.text, rules.language):
            if reference.target is None:
                worked_out[number] = None
            else:
                lines.setdefault(reference.target, []).append((reference.word, number))
        for use in uses(line.text, reader):
            (sets if use.sets else reads).setdefault(use.name, {})[number] = None
    return CrossReference(
        tuple(LineEntry(number, number in held, tuple(lines[number])) for number in sorted(lines)),
        tuple(
            VariableEntry(name, tuple(sets.get(name, ())), tuple(reads.get(name, ())))
            for name in sorted(sets.keys() | reads.keys())
        ),
        tuple(worked_out),
    )
