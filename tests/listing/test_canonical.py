"""What stays the same after a board has rewritten a line."""

from __future__ import annotations

import pytest

from hostlink.errors import ProfileError
from hostlink.listing import (
    Form,
    Language,
    Line,
    Listing,
    Rules,
    canonical,
    canonical_line,
    listed_line,
)

LANGUAGE = Language(statements=("PRINT", "FOR", "TO", "IF"), separator=":")


def rules(**form) -> Rules:
    """Rules with the given form."""
    return Rules(form=Form(**form), language=LANGUAGE)


def line(text: str, **form) -> str:
    """The canonical form of one line."""
    return canonical_line(Line.from_text(text), rules(**form))


def test_blanks_after_the_number_become_one():
    """A board that drops blanks after the number lists them as one."""
    assert line('  010   PRINT "A  B"', spacing="after-number") == '10 PRINT "A  B"'
    assert line("10PRINT", spacing="after-number") == "10 PRINT"


def test_kept_spacing_is_kept():
    """Where a board keeps blanks, one more or less is another line."""
    assert line("10  PRINT", spacing="kept") == "10  PRINT"
    assert line("10PRINT", spacing="kept") == "10PRINT"


def test_free_blanks_vanish_but_not_in_quotes_or_remarks():
    """Blanks count only in quoted text and remarks where the board may move all others."""
    text = '10 PRINT "a  b" ; A : rem  keep  "me'
    assert line(text, spacing="free") == '10 PRINT"a  b";A: rem  keep  "me'


def test_capitals_are_folded_but_not_in_quotes_or_remarks():
    """A board that folds letters to capitals leaves text alone."""
    assert line('10 print "Hi";a:rem Note', case="upper") == '10 PRINT "Hi";A:REM Note'


def test_only_ascii_letters_are_folded():
    """A board folds a to z; the sharp s must not become two letters."""
    assert line("10 print ß", case="upper") == "10 PRINT ß"


def test_the_same_program_listed_by_a_rewriting_board_is_the_same():
    """What was typed and what is listed are equal under the profile's rules, not under others."""
    typed = Listing.from_text('20 goto 10\n10 for i=1 to 9:print "x y"\n')
    listed = Listing.from_text('  10 FOR I = 1 TO 9: PRINT "x y"\n  20 GOTO 10\n')
    loose = rules(case="upper", spacing="free")
    assert canonical(typed, loose) == canonical(listed, loose)
    assert canonical(typed, rules()) != canonical(listed, rules())
    other = Listing.from_text('10 FOR I=1TO9:PRINT"x  y"\n20 GOTO10')
    assert canonical(typed, loose) != canonical(other, loose)


def test_the_canonical_program_is_what_the_board_holds():
    """Sorted, the last of a number, without deleted and unnumbered lines, ended by LF."""
    listing = Listing.from_text("RUN\n20 B\n10 A\n20 C\n30 D\n30  \n")
    assert canonical(listing, rules()) == "10 A\n20 C\n"


@pytest.mark.parametrize(
    ("row", "list_form", "typed"),
    [
        ('     10: PRINT "HI"', "{number}: {text}", '10 PRINT "HI"'),
        ("     10:   PRINT", "{number}: {text}", "10   PRINT"),
        ("10:", "{number}: {text}", "10"),
        ("  10  A ", "{number} {text}", "10  A "),
        ("10PRINT", "{number} {text}", "10PRINT"),
        ("<10> PRINT;", "<{number}> {text};", "10 PRINT"),
    ],
)
def test_a_listed_row_becomes_the_line_as_typed(row, list_form, typed):
    """A row of LIST is read by the profile's form; the plain form keeps the row exactly."""
    found = listed_line(row, Form(list_form=list_form))
    assert found is not None
    assert found == Line.from_text(typed)


@pytest.mark.parametrize("row", ["> ", "", "OK", "PRINT 10", "10 PRINT"])
def test_a_row_that_is_not_listed_is_none(row):
    """Prompts and messages are no lines."""
    assert listed_line(row, Form(list_form="{number}: {text}")) is None


@pytest.mark.parametrize("list_form", ["{number} {text}", "{number}: {text}"])
def test_a_number_filled_with_zeros_is_no_line_number(list_form):
    """A board was met that begins its listing so; a lone 0 is a number that some boards take."""
    form = Form(list_form=list_form)
    for row in ("000000 bytes used.  001686 bytes free.", "000035: bytes used", "01 A"):
        assert listed_line(row, form) is None
    assert listed_line("0: A" if ":" in list_form else "0 A", form) == Line.from_text("0 A")


@pytest.mark.parametrize("list_form", ["", "{number}", "{text} {number}", "10 {text}"])
def test_a_list_form_without_both_fields_is_refused(list_form):
    """A profile that cannot say where number and text stand is an error of the profile."""
    with pytest.raises(ProfileError, match="must hold"):
        listed_line("10 A", Form(list_form=list_form))
