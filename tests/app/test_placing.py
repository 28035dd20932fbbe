"""Lines that are put into a listing by their numbers."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from textual._xterm_parser import XTermParser

from hostlink.app.placing import RowEnd, place_lines, would_mix
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


@pytest.mark.parametrize(
    ("keys", "apart_s", "taken"),
    [
        ("A\r\rB\r\r", 0.0001, "A\rB\r"),  # CR LF, each of which came as an Enter
        ("A\r\r\r\rB", 0.0001, "A\r\rB"),  # an empty row between
        ("A\rB\r", 0.0001, "A\rB\r"),
        ("A\r\rB", 0.03, "A\r\rB"),  # typed, or a key that is held down
        ("\r\r", 0.0001, "\r\r"),  # of no row
    ],
)
def test_of_two_enters_that_end_a_pasted_row_the_second_is_none(
    keys: str, apart_s: float, taken: str
) -> None:
    """As a terminal without bracketed paste sends a text with CR LF; typing is left alone."""
    end = RowEnd()
    left = ""
    for at, key in enumerate(keys):
        event: Any = SimpleNamespace(key="enter" if key == "\r" else key, time=100 + at * apart_s)
        left += "" if end.is_second(event) else key
    assert left == taken


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n", "\r\r"])
def test_a_paste_that_comes_as_keys_has_the_rows_of_the_text(
    stage: Any, wait: Any, end: str
) -> None:
    """In one read of the terminal; a multiplexer may send two CR for a CR LF."""

    async def story(pilot: Any, app: Any) -> None:
        parser = XTermParser()
        text = end.join(("10 PRINT 1", "20 END", "30 END"))
        for event in (*parser.feed(text), *parser.feed("")):
            app.post_message(event)
        await wait(pilot, lambda: app.desk.editor.text.endswith("30 END"))
        assert app.desk.editor.text == "10 PRINT 1\n20 END\n30 END"

    stage.play(story, port="")
