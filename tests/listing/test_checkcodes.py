"""Check codes: what they catch, exhaustively over the shipped programs, and what they miss.

Published values stand in tests/published/test_check_codes.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.errors import ListingError
from hostlink.listing import Form, Listing, Rules, canonical_line
from hostlink.listing.checkcodes import (
    Codes,
    codes_of,
    line_code,
    mistyped_words,
    parse_codes,
    verify_codes,
)

RULES = Rules()
PRINTABLE = "".join(map(chr, range(32, 127)))

Library = dict[str, tuple[str, tuple[str, ...]]]


@pytest.fixture(scope="module")
def rows(library: Library) -> list[str]:
    """Every line of the shipped programs as a board lists it."""
    found = [
        canonical_line(line, RULES)
        for text, _ in library.values()
        for line in Listing.from_text(text)
    ]
    assert len(found) > 600
    return found


def missed(rows: list[str], damaged: Callable[[str], Iterator[str]]) -> tuple[int, int]:
    """How many damaged forms there are of all rows, and how many have the code of the sound row."""
    count = passed = 0
    for row in rows:
        code = line_code(row)
        for wrong in set(damaged(row)) - {row}:
            count += 1
            passed += line_code(wrong) == code
    return count, passed


@pytest.mark.slow
@pytest.mark.no_cover
def test_every_wrong_character_in_the_library_is_caught(rows: list[str]) -> None:
    """Each character of each line in turn becomes each of the other 94: over a million cases."""

    def wrong(row: str) -> Iterator[str]:
        for at in range(len(row)):
            for other in PRINTABLE:
                yield row[:at] + other + row[at + 1 :]

    count, passed = missed(rows, wrong)
    assert count == sum(map(len, rows)) * 94 > 1_000_000
    assert passed == 0


@pytest.mark.parametrize("apart", [1, 2])
def test_every_swap_of_near_characters_in_the_library_is_caught(
    rows: list[str], apart: int
) -> None:
    """Neighbours and next-but-ones that differ are swapped at every place."""

    def swapped(row: str) -> Iterator[str]:
        for at in range(len(row) - apart):
            other = at + apart
            yield row[:at] + row[other] + row[at + 1 : other] + row[at] + row[other + 1 :]

    count, passed = missed(rows, swapped)
    assert count > 10_000
    assert passed == 0


def test_swaps_48_apart_are_what_the_code_cannot_see(rows: list[str]) -> None:
    """The documented limit is real: 3 has order 48 modulo 97, so those weights are equal."""

    def swapped(row: str) -> Iterator[str]:
        for at in range(len(row) - 48):
            yield row[:at] + row[at + 48] + row[at + 1 : at + 48] + row[at] + row[at + 49 :]

    count, passed = missed(rows, swapped)
    assert count == passed > 0


def test_missing_and_doubled_characters_are_missed_once_in_about_97(rows: list[str]) -> None:
    """The measured rate is the one that the documentation states, 1.2 %, for both."""
    lost = missed(rows, lambda row: (row[:at] + row[at + 1 :] for at in range(len(row))))
    twice = missed(rows, lambda row: (row[: at + 1] + row[at:] for at in range(len(row))))
    for count, passed in (lost, twice):
        assert count > 10_000
        assert round(100 * passed / count, 1) == 1.2


@given(st.text(PRINTABLE, min_size=1, max_size=72), st.data())
def test_any_line_shows_any_wrong_character(row: str, data: st.DataObject) -> None:
    """Not only the library's lines: any line, any place, any other character."""
    at = data.draw(st.integers(0, len(row) - 1))
    other = data.draw(st.sampled_from([char for char in PRINTABLE if char != row[at]]))
    assert line_code(row[:at] + other + row[at + 1 :]) != line_code(row)


@pytest.mark.parametrize("character", ["\x1f", "\x7f", "\u00e9", "\u201c", "\t"])
def test_characters_without_a_code_are_refused_by_name(character: str) -> None:
    """Outside 32 to 126 there is no code; the message names the character by its number."""
    with pytest.raises(ListingError, match=f"U\\+{ord(character):04X}"):
        line_code(f"10 PRINT {character}")
    with pytest.raises(ListingError, match=f"U\\+{ord(character):04X}"):
        codes_of(Listing.from_text(f'10 PRINT "{character}"\n'), RULES)


def test_spacing_that_the_board_rewrites_does_not_change_a_code() -> None:
    """Blanks after the number count as one; a board that folds case folds it before the code."""
    plain = codes_of(Listing.from_text("10 PRINT A\n"), RULES)
    assert codes_of(Listing.from_text("  10   PRINT A\n"), RULES) == plain
    assert codes_of(Listing.from_text("10 PRINT  A\n"), RULES) != plain
    upper = Rules(form=Form(case="upper"))
    assert codes_of(Listing.from_text("10 print a\n"), upper) == plain


def test_a_listing_typed_wrong_is_told_line_by_line() -> None:
    """Wrong, missing and extra lines are named; the right lines are not."""
    sound = Listing.from_text("10 A=1\n20 PRINT A\n30 GOTO 20\n40 END\n")
    codes = codes_of(sound, RULES)
    assert verify_codes(sound, codes, RULES).right
    typed = Listing.from_text("10 A=1\n20 PRINT B\n40 END\n50 RUN\n")
    verdict = verify_codes(typed, codes, RULES)
    assert [(w.number, w.text) for w in verdict.wrong] == [(20, "20 PRINT B")]
    assert (verdict.missing, verdict.extra) == ((30,), (50,))
    assert not verdict.right
    assert not verdict.lines_right


def test_the_whole_code_catches_what_a_line_code_lets_pass() -> None:
    """Two characters swapped 48 apart pass the line's code and not that of the whole."""
    row = '10 PRINT "' + "A" + "-" * 47 + "B" + '"'
    other = '10 PRINT "' + "B" + "-" * 47 + "A" + '"'
    codes = codes_of(Listing.from_text(row), RULES)
    verdict = verify_codes(Listing.from_text(other), codes, RULES)
    assert verdict.lines_right
    assert not verdict.right


def test_a_right_line_is_not_called_wrong_because_its_code_was_mistyped() -> None:
    """The code of the whole program agrees, so that it is the code of the line that is wrong."""
    sound = Listing.from_text("10 A=1\n20 PRINT A\n")
    codes = codes_of(sound, RULES)
    swapped = codes.lines[20][::-1]
    verdict = verify_codes(sound, Codes({**codes.lines, 20: swapped}, codes.whole), RULES)
    assert verdict.right
    assert (verdict.wrong, [one.number for one in verdict.mistyped]) == ((), [20])
    assert f"mistyped: 20 {codes.lines[20]} (not {swapped})" in mistyped_words(verdict)
    assert mistyped_words(verify_codes(sound, codes, RULES)) == ""


def test_a_right_listing_is_not_called_wrong_because_a_number_was_mistyped() -> None:
    """The code of the whole program agrees: no line is missing, and the row that is wrong is named;
    the code of the whole alone is enough."""
    sound = Listing.from_text("10 A=1\n20 PRINT A\n")
    codes = codes_of(sound, RULES)
    typed = Codes({10: codes.lines[10], 22: codes.lines[20]}, codes.whole)
    verdict = verify_codes(sound, typed, RULES)
    assert (verdict.right, verdict.right_count, verdict.missing) == (True, 2, ())
    assert f"22 {codes.lines[20]} (there is no line 22)" in mistyped_words(verdict)
    alone = verify_codes(sound, parse_codes(f"ALL {codes.whole}", name="codes"), RULES)
    assert (alone.right, alone.right_count) == (True, 2)
    assert not verify_codes(sound, Codes({}, "0000"), RULES).right


def test_a_line_too_many_is_told_from_one_without_a_typed_code() -> None:
    """Without it the program has its code; else some codes may just not have been typed."""
    sound = Listing.from_text("10 A=1\n20 PRINT A\n")
    codes = codes_of(sound, RULES)
    longer = Listing.from_text("10 A=1\n20 PRINT A\n30 END\n")
    verdict = verify_codes(longer, codes, RULES)
    assert (verdict.extra, verdict.is_surplus, verdict.right) == ((30,), True, False)
    assert not verify_codes(longer, Codes(codes.lines, "0000"), RULES).is_surplus
    assert not verify_codes(longer, Codes(codes.lines, ""), RULES).is_surplus


def test_typed_codes_are_read_as_people_type_them() -> None:
    """Blanks or a colon between, leading zeros left out, small letters, blank rows."""
    codes = parse_codes("10 44\n\n 20: 07\n30\t7\nall 1c3\n", name="codes")
    assert codes == Codes({10: "44", 20: "07", 30: "07"}, "01C3")
    codes = parse_codes("1O 4s\n2o: B7\nl5 Z\nALL B1Co\n", name="codes")
    assert codes == Codes({10: "45", 20: "87", 15: "02"}, "B1C0")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "holds no codes"),
        ("10 44\nTWENTY 12\n", "row 2"),
        ("10 444\n", "row 1"),
        ("10 44\n10 45\n", "line 10 has a code already"),
        ("10 44\nALL 1\nALL 2\n", "already"),
        ("10 44\nALL XYZ\n", "row 2"),
    ],
)
def test_rubbish_in_typed_codes_is_named(text: str, told: str) -> None:
    """What is no code is refused with its row."""
    with pytest.raises(ListingError, match=told):
        parse_codes(text, name="codes")


@given(st.text(max_size=60))
def test_no_text_breaks_the_reading_of_codes(text: str) -> None:
    """Any text gives codes or one clear error."""
    try:
        codes = parse_codes(text, name="codes")
    except ListingError as error:
        assert "codes" in error.what
    else:
        assert codes.lines
