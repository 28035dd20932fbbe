"""Renumber lines, and update every reference to them.

Quoted text and remarks are never changed. A jump whose target is missing or computed at run time
cannot be updated; renumbering is then refused unless it is forced.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from hostlink.errors import ListingError, RefusedError, UsageError
from hostlink.listing.canonical import canonical_line
from hostlink.listing.parse import Line, Listing
from hostlink.listing.reviewing.jumps import Reference
from hostlink.listing.reviewing.references import references, retargeted, rewritten
from hostlink.listing.rules import Form, Rules
from hostlink.sentences import LISTING_UNCHANGED, no_numbered_line

_OTHER_STEPS = "Choose another start or a smaller step."


@dataclass(frozen=True, slots=True)
class Unfollowed:
    """A reference that could not be updated. number, typed: its line's old number and text.

    word: the keyword before it. target: the missing line, None if the target is computed when the
    program runs.
    """

    number: int | None
    typed: str
    word: str
    target: int | None


@dataclass(frozen=True, slots=True)
class Renumbered:
    """The renumbered, sorted listing. numbers: old to new. unfollowed: references not updated."""

    listing: Listing
    numbers: Mapping[int, int]
    unfollowed: tuple[Unfollowed, ...]


def renumber(
    listing: Listing,
    rules: Rules,
    *,
    start: int = 10,
    step: int = 10,
    first: int | None = None,
    last: int | None = None,
    forced: bool = False,
) -> Renumbered:
    """Renumber the lines from `first` to `last` (default: all) as start, start + step, and so on.

    The result is the sorted program that the board would hold, followed by the lines without a
    number; references in both are updated. Raises UsageError for an invalid start or step,
    ListingError if the new numbers are outside the board's range, out of order or make a line too
    long, RefusedError if a jump cannot be updated, unless `forced`.
    """
    if step < 1 or start < 0:
        raise UsageError(
            "The start must be 0 or more, and the step 1 or more.", kept=LISTING_UNCHANGED
        )
    held = listing.numbered()
    numbers = _new_numbers(list(held), start, step, first, last)
    _check_numbers(numbers, rules.form)
    if all(old == new for old, new in numbers.items()):
        return Renumbered(listing, numbers, ())
    follow = follower(numbers)
    lines: list[Line] = []
    unfollowed: list[Unfollowed] = []
    for line in (*held.values(), *(each for each in listing if each.number is None)):
        found = references(line.text, rules.language)
        unfollowed += _unfollowed(line, found, held)
        text = retargeted(line.text, found, follow)
        new = rewritten(line, None if line.number is None else numbers[line.number], text)
        _check_length(line, new, rules.form)
        lines.append(new)
    if unfollowed and not forced:
        raise _cannot_follow(unfollowed)
    return Renumbered(Listing.of(lines), numbers, tuple(unfollowed))


def renumbering(old: Listing, new: Listing, rules: Rules) -> dict[int, int]:
    """Return old to new numbers if two listings differ only in their line numbers, else {}.

    Jumps have to follow the numbers; spacing and case that the board rewrites do not count.
    """
    before, after = old.numbered(), new.numbered()
    if len(before) != len(after) or before.keys() == after.keys():
        return {}
    numbers = dict(zip(before, after, strict=True))
    follow = follower(numbers)
    for line, other in zip(before.values(), after.values(), strict=True):
        text = retargeted(line.text, references(line.text, rules.language), follow)
        moved = rewritten(line, other.number, text)
        if canonical_line(moved, rules) != canonical_line(other, rules):
            return {}
    return numbers


def follower(numbers: Mapping[int, int]) -> Callable[[Reference], int | None]:
    """Return a function that gives the new number of a reference, None to leave it unchanged.

    The end of a range that names no line moves to the nearest line inside the range.
    """
    olds = list(numbers)

    def follow(reference: Reference) -> int | None:
        target = reference.target
        if target is None:
            return None
        if target in numbers:
            return numbers[target]
        if reference.use == "from" and (place := bisect_left(olds, target)) < len(olds):
            return numbers[olds[place]]
        if reference.use == "to" and (place := bisect_right(olds, target)):
            return numbers[olds[place - 1]]
        return None

    return follow


def _unfollowed(
    line: Line, found: Iterable[Reference], held: Mapping[int, Line]
) -> Iterator[Unfollowed]:
    """Find the references of a line that cannot be updated. held: the program by line number."""
    for reference in found:
        if _is_lost(reference, held):
            yield Unfollowed(line.number, line.typed, reference.word, reference.target)


def _is_lost(reference: Reference, held: Mapping[int, Line]) -> bool:
    """Return whether a reference cannot be updated; the end of a range may name no line."""
    if reference.target is None:
        return True
    return reference.use in ("jump", "exact") and reference.target not in held


def _new_numbers(
    olds: list[int], start: int, step: int, first: int | None, last: int | None
) -> dict[int, int]:
    """Return old to new numbers, ascending. Raises ListingError if lines would change order."""
    if not olds:
        raise ListingError(
            no_numbered_line(), kept=LISTING_UNCHANGED, advice="Name another listing."
        )
    low = 0 if first is None else bisect_left(olds, first)
    high = len(olds) if last is None else bisect_right(olds, last)
    if low >= high:
        end = " on" if last is None else f" to {last}"
        raise ListingError(
            f"There is no line from {first or 0}{end}.",
            kept=LISTING_UNCHANGED,
            advice=f"The listing has lines {olds[0]} to {olds[-1]}.",
        )
    news = [*olds[:low], *(start + step * place for place in range(high - low)), *olds[high:]]
    for place in (low, high):
        if 0 < place < len(news) and news[place - 1] >= news[place]:
            raise ListingError(
                f"Line {olds[place if place == low else place - 1]} would become "
                f"{news[place if place == low else place - 1]}, and lose its place "
                f"{'after line' if place == low else 'before line'} "
                f"{olds[place - 1 if place == low else place]}.",
                kept=LISTING_UNCHANGED,
                advice=_OTHER_STEPS,
            )
    return dict(zip(olds, news, strict=True))


def _check_numbers(numbers: Mapping[int, int], form: Form) -> None:
    for old, new in numbers.items():
        if old != new and not form.first_line <= new <= form.last_line:
            raise ListingError(
                f"Line {old} would become {new}, outside {form.first_line} to {form.last_line}.",
                kept=LISTING_UNCHANGED,
                advice=_OTHER_STEPS,
            )


def _check_length(old: Line, new: Line, form: Form) -> None:
    """Raise ListingError if a line becomes longer than the board accepts."""
    if form.longest_line and len(new.typed) > max(form.longest_line, len(old.typed)):
        raise ListingError(
            f"Line {old.number} would be {len(new.typed)} characters long, more than the "
            f"{form.longest_line} that the board takes.",
            kept=LISTING_UNCHANGED,
            advice="Choose smaller numbers, or split the line first.",
        )


def _cannot_follow(unfollowed: list[Unfollowed]) -> RefusedError:
    lost = unfollowed[0]
    where = "A direct command" if lost.number is None else f"Line {lost.number}"
    why = (
        f"{lost.word} to a computed line"
        if lost.target is None
        else f"{lost.word} {lost.target}, and there is no line {lost.target}"
    )
    more = f" There are {len(unfollowed):,} such places." if len(unfollowed) > 1 else ""
    return RefusedError(
        f"{where} has {why}; it cannot follow new line numbers.{more}",
        kept=LISTING_UNCHANGED,
        advice="Change it, or force the renumbering and put it right by hand afterwards.",
    )
