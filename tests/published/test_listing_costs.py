"""Line costs and line rules against published definitions of BASIC."""

from __future__ import annotations

import pytest

from hostlink.listing import (
    Form,
    Language,
    Listing,
    Rules,
    Storage,
    canonical,
    measure,
    review,
)
from hostlink.listing.reviewing.jumps import jumps
from hostlink.listing.tokens import keywords, scan

# Palo Alto Tiny BASIC, Dr. Dobb's Journal, May 1976 (read in a listing of version 2.0 of 10 October
# 1976): a line is stored as a 16-bit number, low byte first, then its text with the CR; blanks
# after the number are dropped; a number alone deletes; 0 is direct; above 32767 is refused.
PALO_ALTO = Rules(
    storage=Storage(number_bytes=2, length_bytes=0, end_bytes=1, blank_after_number="dropped"),
    form=Form(first_line=1, last_line=32767),
)

# ECMA-55 Minimal BASIC, January 1978 (read in transcription): section 3 the keywords, section 5 the
# lines, section 12 the jumps.
ECMA_KEYWORDS = (
    *("BASE", "DATA", "DEF", "DIM", "END", "FOR", "GO", "GOSUB", "GOTO", "IF", "INPUT", "LET"),
    *("NEXT", "ON", "OPTION", "PRINT", "RANDOMIZE", "READ", "REM", "RESTORE", "RETURN", "STEP"),
    *("STOP", "SUB", "THEN", "TO"),
)
MINIMAL = Rules(
    form=Form(first_line=1, last_line=9999, longest_line=72),
    language=Language(statements=ECMA_KEYWORDS),
)


def stored_as_published(number: int, text: str) -> bytes:
    """A line as the published listing stores it, built here independently of our ledger."""
    return number.to_bytes(2, "little") + text.lstrip(" ").encode("ascii") + b"\r"


@pytest.mark.parametrize(
    ("line", "size"), [('10 PRINT "HELLO"', 16), ("20 GOTO 10", 10), ("20     GOTO 10", 10)]
)
def test_a_line_costs_what_the_published_rule_gives(line, size):
    """Two bytes for the number, the text, one for CR: sizes derived from the published rule."""
    ledger = measure(Listing.from_text(line), PALO_ALTO)
    number, _, text = line.partition(" ")
    assert ledger.total == size == len(stored_as_published(int(number), text))


def test_palo_alto_line_numbers():
    """32767 is the largest number; 32768 is HOW? and 0 a direct command, so both are errors."""
    assert review(Listing.from_text("32767 PRINT"), PALO_ALTO).findings == ()
    for line in ("32768 PRINT", "0 PRINT"):
        found = review(Listing.from_text(line), PALO_ALTO).findings
        assert [(f.rule, f.severity) for f in found] == [("line-number-out-of-range", "error")]


def rules_found(text: str) -> set[str]:
    """The rules of review that a text breaks under ECMA-55."""
    return {finding.rule for finding in review(Listing.from_text(text), MINIMAL).findings}


@pytest.mark.parametrize(
    ("number", "allowed"), [(0, False), (1, True), (9999, True), (10000, False)]
)
def test_ecma_55_line_numbers_have_one_to_four_digits(number, allowed):
    """ECMA-55, section 5: one to four digits, and not zero."""
    assert ("line-number-out-of-range" not in rules_found(f"{number} PRINT\n")) == allowed


def test_ecma_55_leading_zeros_have_no_effect():
    """ECMA-55, section 5: 0010 is line 10."""
    zeros, plain = map(Listing.from_text, ("0010 PRINT\n20 GOTO 0010", "10 PRINT\n20 GOTO 0010"))
    assert canonical(zeros, MINIMAL) == canonical(plain, MINIMAL)
    assert rules_found("0010 PRINT\n20 GOTO 0010\n") == set()


def test_ecma_55_lines_hold_at_most_72_characters():
    """ECMA-55, section 5: 72 characters are a line, 73 are too many."""
    for length, found in ((72, set()), (73, {"line-too-long"})):
        line = "10 REM " + "A" * (length - 7)
        assert len(line) == length
        assert rules_found(line + "\n") == found


def test_ecma_55_lines_ascend():
    """ECMA-55, section 5: lines stand in ascending order; one that does not is named."""
    assert rules_found("20 PRINT\n10 PRINT\n") == {"descending-line-number"}


def test_a_bare_number_deletes():
    """A number alone deletes its line: Tiny BASIC 1975 and ECMA-55, section 5."""
    listing = Listing.from_text("10 PRINT\n20 PRINT\n10\n")
    assert canonical(listing, MINIMAL) == "20 PRINT\n"


@pytest.mark.parametrize("jump", ["GOTO", "GO TO", "GO  TO", "GOSUB", "GO SUB"])
def test_ecma_55_go_to_may_hold_spaces(jump):
    """ECMA-55, section 12: GO TO and GO SUB may hold spaces, and their target is the same."""
    found = jumps(f"{jump} 100", MINIMAL.language)
    assert [(j.word, j.target) for j in found] == [(jump.replace(" ", ""), 100)]


def test_ecma_55_on_goto_lists_every_target():
    """ECMA-55, section 12: ON expression GOTO line, line..."""
    found = jumps("ON L+1 GO TO 400,400,500", MINIMAL.language)
    assert [j.target for j in found] == [400, 400, 500]


@pytest.mark.parametrize("keyword", ECMA_KEYWORDS)
def test_ecma_55_keywords_are_words(keyword):
    """ECMA-55, section 3: each of the 26 keywords is found as one word."""
    assert len(ECMA_KEYWORDS) == 26
    assert keyword in keywords(MINIMAL.language)
    assert [span.word for span in scan(keyword, MINIMAL.language)] == [keyword]
