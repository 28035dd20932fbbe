"""Adapt a listing for another kind of board."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from hostlink.board.profile.model import Profile
from hostlink.errors import ListingError, UsageError
from hostlink.listing import Listing
from hostlink.listing.adapting.adapt import Adapted, Change, adapt
from hostlink.listing.adapting.needs import Need
from hostlink.listing.measure import line_cost
from hostlink.listing.parse import Line
from hostlink.listing.rules import Rules
from hostlink.listing.shrinking.shrink import shrink
from hostlink.sentences import LISTING_UNCHANGED, left_out, no_numbered_line
from hostlink.words import lines_named, plural


def adapt_for(listing: Listing, source: Profile, target: Profile) -> Adapted:
    """Rewrite a listing for another kind of board.

    source, target: the profiles of the board that it was written for and of the new one. Raises
    UsageError if a profile does not state the forms of its BASIC, ListingError if no line has a
    number.
    """
    if not listing.numbered():
        raise ListingError(no_numbered_line("adapt"), kept=LISTING_UNCHANGED)
    for profile in (source, target):
        if not profile.rules.language.number:
            raise UsageError(
                f"The profile {profile.name} does not state the forms of its BASIC.",
                kept=LISTING_UNCHANGED,
                advice='Add "number" and the other forms to its [language], or name another '
                "profile.",
            )
    made = adapt(listing, source.rules.language, target.rules)
    loose = listing.loose
    return replace(made, notes=(left_out(loose), *made.notes)) if loose else made


def shrunk_to_fit(made: Adapted, target: Profile) -> Adapted:
    """Shrink an adapted listing just enough for its board; one that fits is returned unchanged.

    Its changes show the shrunk lines under the numbers that the lines had before.
    """
    if made.fits or made.needs:
        return made
    rules, words = target.rules, target.size_words
    kept = small = shrink(made.listing, rules, "lines", to_fit=True, size_words=words)
    if not kept.fits:
        small = shrink(made.listing, rules, to_fit=True, size_words=words)
    now = dict(zip(kept.listing.numbered(), small.listing.numbered().values(), strict=True))
    renumbered = "; the lines have new numbers" if list(now) != [*small.listing.numbered()] else ""
    steps = f"Made smaller to fit: {made.after:,} bytes became {small.after:,}{renumbered}."
    return replace(
        made,
        listing=small.listing,
        changes=tuple(_smaller(made, now, rules)),
        after=small.after,
        notes=(*made.notes, steps, *small.notes),
    )


def _smaller(made: Adapted, now: Mapping[int, Line], rules: Rules) -> Iterator[Change]:
    """Yield the changes from the original lines to the shrunk ones.

    now: the shrunk lines, by the numbers that they had in the adapted listing.
    """
    adapted = made.listing.numbered()
    changes = {change.number: change for change in made.changes}
    added = {Line.from_text(row).number for each in made.changes for row in each.after[1:]}
    for number in (each for each in adapted if each not in added):
        was = changes.get(number)
        before = was.before if was else adapted[number].typed
        rows = [Line.from_text(row).number or 0 for row in was.after] if was else [number]
        lines = [now[row] for row in rows if row in now]
        after = tuple(line.typed for line in lines)
        smaller = after != tuple(adapted[row].typed for row in rows)
        if was or smaller:
            why = (*(was.why if was else ()), *(("the program must fit",) if smaller else ()))
            cost = sum(line_cost(line, rules) for line in lines)
            cost -= line_cost(Line.from_text(before), rules) if before else 0
            yield Change(number, before, after, why, cost)


def change_rows(change: Change) -> list[str]:
    """Return the rows that show a change: the line, what it becomes, why, and the cost."""
    before = [change.before] if change.before else ["A new line"]
    after = [f"  becomes {line}" if change.before else f"  {line}" for line in change.after]
    after = after or ["  is no longer a separate line"]
    return [*before, *after, f"  because {'; '.join(change.why)} ({cost_words(change.cost_bytes)})"]


def cost_words(cost: int) -> str:
    """Describe the cost of a change. cost: bytes added, negative if bytes are saved."""
    if not cost:
        return "same size"
    return f"{plural(abs(cost), 'byte')} {'more' if cost > 0 else 'less'}"


def need_words(need: Need) -> str:
    """Return the sentence on what has no equivalent on a board, with its lines."""
    return f"Left as it is: {need.what}; {lines_named(need.lines)}."
