"""Finding the lines that a program can do without because it never gets to them."""

from __future__ import annotations

from hostlink.listing.parse import Line, Listing
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.flow import flow_of
from hostlink.listing.reviewing.line_checks import check_line
from hostlink.listing.rules import Rules


def unreached(listing: Listing, rules: Rules) -> tuple[Line, ...]:
    """Return the lines that no jump, call or line before leads to, and that nothing needs.

    None where that is not certain: a jump is computed, or a word is unknown, which might be one.
    """
    reader = Reader(rules.language)
    flow = flow_of(listing, reader)
    for node in flow.nodes.values():
        if any(found.rule == "unknown-word" for found in check_line(node.line, reader, rules)):
            return ()
    return tuple(flow.removable())
