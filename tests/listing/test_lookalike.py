"""Letters that were typed for digits. What they look like: common practice, no source."""

from __future__ import annotations

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.listing import Line, Listing, mend, review
from hostlink.listing.mending.lookalike import RULE, lookalikes

RULES = find_profile("practice").rules


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("2O PRINT 2", [("2O", "2O looks like 20 with the letter O in it.")]),
        ("  1l PRINT 2", [("1l", "1l looks like 11 with the letter l in it.")]),
        ("20 GOTO 1O", [("1O", "1O looks like 10 with the letter O in it.")]),
        ("20 IF A=1 THEN 1I0", [("1I0", "1I0 looks like 110 with the letter I in it.")]),
        ("20 LET A=3O+4o", [("3O", ""), ("4o", "")]),
        ("20 FOR I=1TO 9", []),
        ("20 IF A=1OR B=2 THEN 10", []),
        ("20 PRINT A1O", []),
        ('20 PRINT "2O"', []),
        ("20 REM GOTO 1O", []),
        ("20 DATA 1O,2O", []),
        ("O3 PRINT 3", []),
        ("20 LET O=5", []),
    ],
)
def test_a_letter_in_a_number_is_found_where_none_can_be_meant(
    typed: str, found: list[tuple[str, str]]
) -> None:
    """In line numbers, jumps and calculations; not in words, quotes, remarks and DATA."""
    seen = list(lookalikes(Line.from_text(typed), RULES.language))
    assert [typed[each.start : each.end] for each in seen] == [text for text, _ in found]
    for each, (_, sentence) in zip(seen, found, strict=True):
        assert sentence in each.sentence


@pytest.mark.parametrize("deep", [True, False])
def test_what_comes_of_it_is_not_told_as_well(deep: bool) -> None:
    """No "there is no line 1", no unknown word O, no line out of its order: one finding each."""
    listing = Listing.from_text("10 PRINT 1\n2O PRINT 2\n30 GOTO 1O\n")
    found = review(listing, RULES, deep=deep).findings
    assert [(each.line_at, each.rule) for each in found] == [(2, RULE), (3, RULE)]


def test_mending_doubts_it_and_leaves_it() -> None:
    """Which digit was meant only the person knows for sure."""
    text = "10 PRINT 1\n2O PRINT 2\n"
    mended = mend(text, RULES)
    assert mended.text == text
    (doubt,) = mended.doubts
    assert (doubt.line, doubt.sentence) == (2, "2O looks like 20 with the letter O in it.")
