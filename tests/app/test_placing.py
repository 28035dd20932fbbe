"""Lines that are put into a listing by their numbers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.app.placing import place_lines, would_mix
from hostlink.listing import Listing

numbered = st.dictionaries(st.integers(1, 40), st.sampled_from(["REM A", "END", "LET B=1"]))


def as_text(lines: dict[int, str]) -> str:
    return "".join(f"{number} {lines[number]}\n" for number in sorted(lines))


@given(numbered, numbered.filter(bool))
def test_the_result_is_what_a_board_would_hold_after_both(
    here: dict[int, str], new: dict[int, str]
) -> None:
    """A board stores a typed line by its number; the place told is that of the first new line."""
    placed = place_lines(as_text(here), as_text(new))
    assert placed.text == as_text(here | new)
    assert placed.text.split("\n")[placed.row].startswith(f"{min(new)} ")


def test_rows_without_a_number_stay_with_the_row_that_they_belong_to() -> None:
    """With the numbered row before them; the first ones with the one after."""
    assert place_lines("10 REM A\n' X\n20 END\n", "' Y\n15 REM B\n' Z\n").text == (
        "10 REM A\n' X\n' Y\n15 REM B\n' Z\n20 END\n"
    )
    assert place_lines("10 REM A\n' X\n20 END", "10 REM B\n").text == "10 REM B\n' X\n20 END\n"


def test_of_two_lines_with_one_number_the_last_is_replaced() -> None:
    """It is the one that a board would keep."""
    assert place_lines("10 REM A\n10 REM B\n", "10 END\n").text == "10 REM A\n10 END\n"


def numbers(*given: int) -> str:
    return as_text(dict.fromkeys(given, "REM B"))


@pytest.mark.parametrize(
    ("pasted", "mixes"),
    [
        (numbers(*range(10, 310, 10)), True),  # a shorter program
        (numbers(*range(5, 105, 10)), True),  # between its lines, from before the first
        (numbers(*range(105, 305, 10)), True),  # between its lines, twenty of them
        (numbers(*range(100, 190, 10)), False),  # nine lines corrected
        (numbers(40, 95, 200), False),
        (numbers(*range(401, 431)), False),  # a part behind its end
        (numbers(*range(101, 110)), False),  # a part in one gap
        (numbers(1, 2, 3), False),  # a part in front
        (as_text(dict.fromkeys(range(10, 410, 10), "REM A")), False),  # what is here
    ],
)
def test_what_may_be_a_program_of_its_own_is_told_from_a_correction(
    pasted: str, mixes: bool
) -> None:
    """It begins where the listing begins, or changes more than nine lines of it."""
    here = Listing.from_text(as_text(dict.fromkeys(range(10, 410, 10), "REM A"))).numbered()
    assert would_mix(here, Listing.from_text(pasted).numbered()) == mixes
