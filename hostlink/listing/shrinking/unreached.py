"""Find the lines that a program does not need because it never reaches them."""

from __future__ import annotations

from hostlink.listing.finding import Finding
from hostlink.listing.parse import Line, Listing
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.flow import flow_of
from hostlink.listing.reviewing.line_checks import check_line
from hostlink.listing.rules import Rules


def unreached(listing: Listing, rules: Rules) -> tuple[Line, ...]:
    """Return the lines that no jump, call or line before leads to, and that nothing needs.

    () if that is uncertain: a jump is computed, or an unknown word might be a jump.
    """
    if unknown_word(listing, rules) is not None:
        return ()
    return tuple(flow_of(listing, Reader(rules.language)).removable())


def unknown_word(listing: Listing, rules: Rules) -> Finding | None:
    """Return the first finding of a word that the board does not know, or None."""
    reader = Reader(rules.language)
    found = (
        each for line in listing.numbered().values() for each in check_line(line, reader, rules)
    )
    return next((each for each in found if each.rule == "unknown-word"), None)
