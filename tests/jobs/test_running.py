"""Cutting what a program prints into rows, however the bytes arrive."""

from __future__ import annotations

import itertools
import random

import pytest

from hostlink.jobs.running import Rows
from hostlink.link.pacing import Pacing

PRACTICE = Pacing(prompt=b"+ ", reply_end=b"\r\n")


def rows_of(data: bytes, pacing: Pacing, *, cuts: list[int] | None = None) -> list[str]:
    """The rows given for bytes that arrive cut at those places."""
    given: list[str] = []
    rows = Rows(pacing, "latin-1", given.append)
    places = [0, *sorted(cuts or []), len(data)]
    for start, end in itertools.pairwise(places):
        rows.add(data[start:end])
    rows.close()
    assert rows.rows == given
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
        (b"\r\nNAME? 5\r\n 10\r\n+ ", ["NAME? 5", " 10"]),
    ],
)
def test_rows_are_what_was_printed(answer: bytes, rows: list[str]) -> None:
    """Blank rows stay; the echoed line end before and the prompt after are no output."""
    assert rows_of(answer, PRACTICE) == rows


@pytest.mark.parametrize("seed", range(30))
def test_rows_do_not_depend_on_how_the_bytes_arrive(seed: int) -> None:
    """Whole, byte by byte, or cut anywhere, also in the middle of a line end: the same rows."""
    choose = random.Random(seed)
    answer = b"\r\n" + b"".join(
        choose.choice([b"A", b"BC ", b"\r\n", b"\n", b"\r", b"+ "]) for _ in range(40)
    )
    whole = rows_of(answer + b"\r\n+ ", PRACTICE)
    places = sorted(choose.sample(range(1, len(answer)), 12))
    assert rows_of(answer + b"\r\n+ ", PRACTICE, cuts=places) == whole
    every = list(range(1, len(answer) + 4))
    assert rows_of(answer + b"\r\n+ ", PRACTICE, cuts=every) == whole


@pytest.mark.parametrize("every", [False, True])
def test_a_prompt_in_a_row_of_its_own_is_no_output(every: bool) -> None:
    """Byte by byte or whole: only the last such row is the prompt, and a row may end like it."""
    pacing = Pacing(prompt=b"ok\r\n", reply_end=b"\r\n")
    answer = b"\r\nok\r\nBook\r\nok\r\n"
    cuts = list(range(1, len(answer))) if every else []
    assert rows_of(answer, pacing, cuts=cuts) == ["ok", "Book"]


def test_a_board_without_echo_loses_no_blank_row() -> None:
    """Nothing was echoed, so a blank first row was printed."""
    assert rows_of(b"\r\nA\r\n+ ", Pacing(prompt=b"+ ", reply_end=b"\r\n", echo=False)) == ["", "A"]


def test_a_row_is_given_as_soon_as_it_is_complete() -> None:
    """A slow program's row is shown when its line end comes, not with the next byte."""
    given: list[str] = []
    rows = Rows(PRACTICE, "latin-1", given.append)
    rows.add(b"\r\nFIRST\r")
    assert given == []
    rows.add(b"\n")
    assert given == ["FIRST"]


def test_every_byte_comes_through_as_one_character() -> None:
    """What a board prints is decoded by the profile's charset, losslessly."""
    data = bytes(byte for byte in range(256) if byte not in b"\r\n")
    assert rows_of(b"\r\n" + data + b"\r\n+ ", PRACTICE) == [data.decode("latin-1")]
