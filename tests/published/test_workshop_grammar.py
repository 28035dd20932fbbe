"""Renumbering and shrinking of hand-typed cases, each from the published text named beside it.

Sources: Standard ECMA-55, Minimal BASIC, January 1978 (read in a transcription); *Design notes for
Tiny BASIC*, Dr. Dobb's Journal vol. 1 no. 1, 1976, p. 9 (by a secondary source); Palo Alto Tiny
BASIC, Dr. Dobb's Journal, May 1976 (read in a version 2.0 listing).
"""

from __future__ import annotations

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.errors import ListingError
from hostlink.listing import Listing, review
from hostlink.listing.renumber import renumber
from hostlink.listing.shrinking.shrink import shrink

ECMA = find_profile("ecma-55").rules
TINY = find_profile("tiny").rules
PALO_ALTO = find_profile("palo-alto").rules


@pytest.mark.parametrize(
    ("section", "before", "after"),
    [
        ("5.4, leading zeros have no effect", "0010 GOTO 0010", "100 GOTO 100"),
        ("12, GO TO may hold a blank", "10 GO TO 10", "100 GO TO 100"),
        ("12, GO SUB may hold a blank", "10 GO SUB 10", "100 GO SUB 100"),
        ("12, IF ... THEN a line number", "10 IF X>Y+83 THEN 10", "100 IF X>Y+83 THEN 100"),
        ("12, ON ... GOTO a list", "10 ON L+1 GOTO 10,10,10", "100 ON L+1 GOTO 100,100,100"),
        ("19, a remark is any text", "10 REM GOTO 10", "100 REM GOTO 10"),
        ("17, data is data", "10 DATA 10,GOTO 10", "100 DATA 10,GOTO 10"),
        ("14, quoted text", '10 PRINT "THEN 10"', '100 PRINT "THEN 10"'),
        ("16, RESTORE has no number", "10 RESTORE", "100 RESTORE"),
    ],
)
def test_ecma_55_references_follow(section: str, before: str, after: str) -> None:
    """Each form of a line number in the standard, and each place where digits are none."""
    made = renumber(Listing.from_text(before), ECMA, start=100)
    assert made.listing.text() == after + "\n", section


def test_ecma_55_line_numbers_have_at_most_four_digits() -> None:
    """Section 5.2: a line number is one to four digits; more is refused, nothing is changed."""
    text = "".join(f"{number} PRINT\n" for number in range(1, 11))
    assert renumber(Listing.from_text(text), ECMA, start=9990, step=1).numbers[10] == 9999
    with pytest.raises(ListingError, match="10000, outside 1 to 9999"):
        renumber(Listing.from_text(text), ECMA, start=9991, step=1)


@pytest.mark.parametrize(
    ("section", "before", "after"),
    [
        ("5.4, keywords keep a blank on each side", "FOR  I = 1  TO 10", "FOR I=1 TO 10"),
        ("5.4, blanks in quoted text stay", 'PRINT "A  B" ;  X', 'PRINT "A  B";X'),
        ("5.4, none inside a relation sign", "IF A < = B THEN 10", "IF A< =B THEN 10"),
        ("11, LET must be there", "LET X = 1", "LET X=1"),
        ("12, THEN must be there", "IF A = B THEN 10", "IF A=B THEN 10"),
        ("17, blanks in DATA stay", "DATA  A B , C", "DATA  A B , C"),
    ],
)
def test_ecma_55_shrinking_keeps_a_standard_program_standard(
    section: str, before: str, after: str
) -> None:
    """What the standard demands stays; what it says does not matter goes."""
    text = f"10 {before}\n20 PRINT\n30 GOTO 10\n40 END\n"
    made = shrink(Listing.from_text(text), ECMA, "words").listing.numbered()
    assert made[10].text == after, section
    assert made[40].text == "END"  # section 5.2: the last line is an end-line


def test_tiny_basic_of_1976_may_compute_its_jumps() -> None:
    """GOTO expression (grammar, p. 9): cannot follow, is named, and keeps every line in place."""
    listing = Listing.from_text("10 LET A=1\n20 GOTO A*10\n30 REM HERE\n40 END\n")
    found = [f.rule for f in review(listing, TINY, deep=True).findings]
    assert found == ["computed-jump"]
    made = shrink(listing, TINY)
    assert list(made.listing.numbered()) == [10, 20, 30, 40]
    assert made.listing.numbered()[30].text == "REM"


@pytest.mark.parametrize(
    ("short", "word"),
    [
        ("P.", "PRINT"),
        ("G.", "GOTO"),
        ("GOS.", "GOSUB"),
        ("R.", "RETURN"),
        ("F.", "FOR"),
        ("N.", "NEXT"),
        ("IN.", "INPUT"),
        ("S.", "STOP"),
    ],
)
def test_palo_alto_short_forms_are_the_shortest_that_its_table_allows(
    short: str, word: str
) -> None:
    """The first entry of the table that fits wins; derived by hand from the order of the table."""
    rest = {"FOR": "I=1TO2", "NEXT": "I", "INPUT": "A", "PRINT": "A", "GOTO": "10", "GOSUB": "10"}
    text = f"10 {word} {rest.get(word, '')}\n20 PRINT A\n"
    made = shrink(Listing.from_text(text), PALO_ALTO, "abbreviations").listing.numbered()[10]
    assert made.text == short + rest.get(word, "")


def test_palo_alto_joins_statements_by_its_own_sign() -> None:
    """`;` parts statements there, and `LET` may be left out (version 2.0 listing)."""
    text = "10 LET A=1\n20 LET B=2\n30 PRINT A\n"
    made = shrink(Listing.from_text(text), PALO_ALTO, "lines").listing
    assert made.text() == "10 A=1;B=2;P.A\n"


@pytest.mark.parametrize(
    "number",
    [
        "1.23456E32",
        "123456E+27",
        ".00000123456E38",
        "1.E30",
        "25.01E036",
        "9.99999E37",
        "1E38",
        "2",
    ],
)
def test_numbers_of_the_standards_test_programs_are_taken(number: str) -> None:
    """Forms of programs 10, 12 and 14 of NBS Special Publication 500-70, which conform."""
    listing = Listing.from_text(f"10 LET A={number}\n20 PRINT -A,-{number}\n30 END\n")
    assert review(listing, ECMA, deep=True).findings == ()


def test_a_number_that_overflows_is_refused() -> None:
    """Program 30 of NBS Special Publication 500-70 has 3E99999 as such a number."""
    listing = Listing.from_text("10 LET A=3E99999\n20 PRINT A\n30 END\n")
    (found,) = review(listing, ECMA, deep=True).findings
    assert (found.rule, found.severity, found.column) == ("number-out-of-range", "error", 10)
