"""Listings as lines."""

from __future__ import annotations

import pytest

from hostlink.listing.parse import LARGEST_NUMBER, Line, Listing


def test_a_line_is_split_into_number_and_body():
    """The number and everything after its digits are kept apart, blanks and all."""
    line = Line.from_text('  10  PRINT "A"', 7)
    assert (line.number, line.body, line.text, line.at) == (10, '  PRINT "A"', 'PRINT "A"', 7)
    assert line.typed == '  10  PRINT "A"'


def test_a_line_without_a_number_has_none():
    """A direct command is a line too, with its whole text as body."""
    line = Line.from_text("RUN")
    assert (line.number, line.body) == (None, "RUN")


@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
def test_each_line_end_splits(end):
    """CR, LF and CR LF all end a line, and rows count from 1."""
    listing = Listing.from_text(f"10 A{end}{end}20 B{end}")
    assert [(line.number, line.at) for line in listing] == [(10, 1), (20, 3)]


@pytest.mark.parametrize("odd", ["\0", "\f", "\v", "\x1c", "\x85", "\u2028", "\u2029"])
def test_other_separators_do_not_split(odd):
    """Only CR and LF end a line; other separators stay in it for the review to name."""
    listing = Listing.from_text(f"10 A{odd}20 B")
    assert [line.typed for line in listing] == [f"10 A{odd}20 B"]


def test_a_number_of_thousands_of_digits_is_still_a_number():
    """Python refuses to read more than 4,300 digits; a listing must not fail on them."""
    line = Line.from_text("9" * 5000 + " PRINT")
    assert line.number == LARGEST_NUMBER
    assert line.text == "PRINT"
    assert str(line.number) == "1" + "0" * 18


def test_leading_zeros_have_no_effect_however_many():
    """Zeros in front change nothing, even thousands of them."""
    assert Line.from_text("0" * 5000 + "10 A").number == 10
    assert Line.from_text("000").number == 0


def test_digits_of_other_scripts_are_no_line_number():
    """Only 0 to 9 make a line number; a board knows no others."""
    assert Line.from_text("\uff11\uff10 PRINT").number is None
    assert Line.from_text("\u0661\u0660 PRINT").number is None


def test_the_last_line_of_a_number_stays_and_a_bare_number_deletes():
    """numbered() gives what a board would hold after the lines were typed in turn."""
    listing = Listing.from_text("20 A\n10 B\n20 C\n30 D\n30\n")
    assert [line.typed for line in listing.numbered().values()] == ["10 B", "20 C"]


def test_text_gives_the_lines_back():
    """Nothing is reordered or lost by parsing."""
    text = "20 B\n10 A\nRUN\n10 C\n"
    assert Listing.from_text(text).text() == text
