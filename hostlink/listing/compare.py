"""Compare two listings by line number.

Comparing b with a mirrors the result of comparing a with b.
"""

from __future__ import annotations

import difflib
from collections import Counter
from dataclasses import dataclass

from hostlink.listing.canonical import canonical_line
from hostlink.listing.parse import Line, Listing
from hostlink.listing.rules import Rules

_MOST_CELLS = 1 << 16
"""Above this product of their lengths, only the common start and end of two lines are found."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A range of changed characters in the old and the new line, from 0, end excluded."""

    old_start: int
    old_end: int
    new_start: int
    new_end: int

    def mirrored(self) -> Stretch:
        """Return the same change with old and new exchanged."""
        return Stretch(self.new_start, self.new_end, self.old_start, self.old_end)


@dataclass(frozen=True, slots=True)
class ChangedLine:
    """A line number whose line differs between the listings."""

    old: Line
    new: Line
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The differences between listing a (old) and listing b (new), sorted by line number.

    added: lines only in b. removed: lines only in a. changed: lines in both, with the changed
    characters. same_count: number of equal lines. Lines without a number come last and are never
    "changed".
    """

    added: tuple[Line, ...]
    removed: tuple[Line, ...]
    changed: tuple[ChangedLine, ...]
    same_count: int

    @property
    def equal(self) -> bool:
        """Return whether the listings do not differ."""
        return not (self.added or self.removed or self.changed)


def compare(a: Listing, b: Listing, rules: Rules | None = None) -> Comparison:
    """Compare two listings as the programs that a board would hold.

    Without rules, lines are equal if typed exactly alike; with rules, if their canonical forms are
    equal. Of lines with the same number the last counts, and a bare number deletes.
    """
    old, new = a.numbered(), b.numbered()
    removed = [line for number, line in old.items() if number not in new]
    added = [line for number, line in new.items() if number not in old]
    changed: list[ChangedLine] = []
    same_count = 0
    for number in old.keys() & new.keys():
        before, after = old[number], new[number]
        if _key(before, rules) == _key(after, rules):
            same_count += 1
        else:
            changed.append(ChangedLine(before, after, stretches(before.typed, after.typed)))
    changed.sort(key=lambda change: change.old.number or 0)
    loose_old, loose_new = _loose(a), _loose(b)
    gone, come = _unmatched(loose_old, loose_new, rules), _unmatched(loose_new, loose_old, rules)
    same_count += len(loose_old) - len(gone)
    return Comparison((*added, *come), (*removed, *gone), tuple(changed), same_count)


def stretches(old: str, new: str) -> tuple[Stretch, ...]:
    """Return the ranges of characters that differ between two texts.

    The matcher's result depends on the order of the texts, so it gets them in a fixed order.
    """
    if old > new:
        return tuple(stretch.mirrored() for stretch in stretches(new, old))
    if len(old) * len(new) > _MOST_CELLS:
        return _outer_stretch(old, new)
    codes = difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes()
    return tuple(Stretch(*places) for tag, *places in codes if tag != "equal")


def unified(a: Listing, b: Listing, a_name: str, b_name: str) -> str:
    """Return a unified diff of two listings as typed, "" if they are equal."""
    from_name, to_name = (" ".join(name.splitlines()) for name in (a_name, b_name))
    old, new = ([line.typed + "\n" for line in listing] for listing in (a, b))
    return "".join(difflib.unified_diff(old, new, from_name, to_name))


def _key(line: Line, rules: Rules | None) -> str:
    return line.typed if rules is None else canonical_line(line, rules)


def _loose(listing: Listing) -> list[Line]:
    return [line for line in listing if line.number is None]


def _unmatched(lines: list[Line], others: list[Line], rules: Rules | None) -> list[Line]:
    """Return the lines, in order, that have no counterpart among the others."""
    left = Counter(_key(other, rules) for other in others)
    unmatched: list[Line] = []
    for line in lines:
        key = _key(line, rules)
        if left[key]:
            left[key] -= 1
        else:
            unmatched.append(line)
    return unmatched


def _outer_stretch(old: str, new: str) -> tuple[Stretch, ...]:
    """Return one stretch: everything between the common start and the common end."""
    shorter = min(len(old), len(new))
    start = next((at for at in range(shorter) if old[at] != new[at]), shorter)
    end = next(
        (at for at in range(shorter - start) if old[-1 - at] != new[-1 - at]), shorter - start
    )
    found = Stretch(start, len(old) - end, start, len(new) - end)
    return (found,) if old != new else ()
