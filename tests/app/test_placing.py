"""Lines that are put into a listing by their numbers."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from hostlink.app.placing import place_lines

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
    assert placed.lines == len(new)
    assert placed.replaced == len(here.keys() & new.keys())
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
