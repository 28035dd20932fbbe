"""Cutting what a board sends into rows, however the bytes arrive."""

from __future__ import annotations

import itertools
import random
from typing import Any

import pytest

from hostlink.jobs.board_rows import BoardRows


def rows_of(data: bytes, *, cuts: list[int] | None = None, **manners: Any) -> list[str]:
    """The rows of a run's output for bytes that arrive cut at those places."""
    given: list[str] = []
    rows = BoardRows("latin-1", given.append, render=str, longest=0, **{"prompt": b"+ ", **manners})
    rows.begin(swallow_end=True)
    places = [0, *sorted(cuts or []), len(data)]
    for start, end in itertools.pairwise(places):
        rows.take(data[start:end])
    rows.close()
    return given


@pytest.mark.parametrize(
    ("answer", "rows"),
    [
        (b"\r\n+ ", []),
        (b"\r\nA\r\n+ ", ["A"]),
        (b"\r\nA\r\n\r\nB\r\n+ ", ["A", "", "B"]),
        (b"\r\n\r\nA\r\n+ ", ["", "A"]),
        (b"\r\nA\r\nB", ["A", "B"]),
        (b"\r\n+ + \r\n+ ", ["+ + "]),
        (b"\r\nA\r\n+", ["A", "+"]),
        (b"\r\n+\r\n+ 5\r\n+ ", ["+", "+ 5"]),
        (b"\r\nNAME? 5\r\n 10\r\n+ ", ["NAME? 5", " 10"]),
        (b"\nA\nB\n+ ", ["A", "B"]),
        (b"\n\rA\n\r\n\rB\n\r+ ", ["A", "", "B"]),
        (b"\rA\r\rB\r+ ", ["A", "", "B"]),
    ],
)
def test_rows_are_what_was_printed(answer: bytes, rows: list[str]) -> None:
    """Blank rows stay, each kind of line end ends one row; echo before and prompt after are none.

    LF CR was measured on an interpreter that descends from the Palo Alto listing of 1976.
    """
    assert rows_of(answer) == rows


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("prompt", [b"+ ", b"+\r\n", b"> "])
def test_rows_do_not_depend_on_how_the_bytes_arrive(seed: int, prompt: bytes) -> None:
    """Whole, byte by byte, or cut anywhere, also in the middle of a line end: the same rows."""
    choose = random.Random(seed)
    pieces = [b"A", b"BC ", b"\r\n", b"\n", b"\r", b"+ ", b"+", b"> ", prompt]
    answer = b"\r\n" + b"".join(choose.choice(pieces) for _ in range(40)) + b"\r\n" + prompt
    whole = rows_of(answer, prompt=prompt)
    places = sorted(choose.sample(range(1, len(answer)), 12))
    assert rows_of(answer, prompt=prompt, cuts=places) == whole
    assert rows_of(answer, prompt=prompt, cuts=list(range(1, len(answer)))) == whole


@pytest.mark.parametrize("every", [False, True])
def test_a_prompt_in_a_row_of_its_own_is_no_output(every: bool) -> None:
    """Byte by byte or whole: only the last such row is the prompt, and a row may end like it."""
    answer = b"\r\nok\r\nBook\r\nok\r\n"
    cuts = list(range(1, len(answer))) if every else []
    assert rows_of(answer, cuts=cuts, prompt=b"ok\r\n") == ["ok", "Book"]


def test_the_prompt_is_known_behind_a_row_that_began_like_it() -> None:
    """The row ended otherwise than the prompt does; the one behind it is the prompt."""
    assert rows_of(b"\r\nok\rok\r\n", prompt=b"ok\r\n") == ["ok"]


def test_a_new_line_begins_anew() -> None:
    """Half a prompt and half a line end from before are forgotten, and a line end is a row."""
    given: list[str] = []
    rows = BoardRows("latin-1", given.append, prompt=b"> ")
    rows.take(b"A\r\n>")
    rows.begin()
    rows.take(b"\nB\r\n")
    assert given == ["A", "", "B"]


def test_a_board_without_echo_loses_no_blank_row() -> None:
    """Nothing was echoed, so a blank first row was printed."""
    given: list[str] = []
    rows = BoardRows("latin-1", given.append, prompt=b"+ ")
    rows.take(b"\r\nA\r\n+ ")
    rows.close()
    assert given == ["", "A"]


def test_a_row_is_given_as_soon_as_its_line_end_begins() -> None:
    """A slow program's row is shown when its line end comes; the other half makes no row."""
    given: list[str] = []
    rows = BoardRows("latin-1", given.append)
    rows.take(b"FIRST\r")
    assert given == ["FIRST"]
    rows.take(b"\nSECOND")
    assert (given, rows.partial) == (["FIRST"], "SECOND")


def test_what_may_be_the_prompt_is_held_back() -> None:
    """It is not part of the open row until something else follows."""
    rows = BoardRows("latin-1", lambda _: None, prompt=b"> ")
    rows.take(b"> ")
    assert rows.partial == ""
    rows.take(b"!")
    assert rows.partial == "> !"


def test_every_byte_comes_through_as_one_character() -> None:
    """What a board prints is decoded by its character set, losslessly."""
    data = bytes(byte for byte in range(256) if byte not in b"\r\n")
    assert rows_of(b"\r\n" + data + b"\r\n+ ") == [data.decode("latin-1")]
