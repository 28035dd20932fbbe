"""Listing page by page: after which lines a board waits for a key."""

from __future__ import annotations

import pytest

from hostlink.practice.ops import Answer, Chore, Firmware, Op, ReadKey, ReadLine, Work
from hostlink.practice.pages import by_pages


def listing(lines: int, answers: list[Answer]) -> Firmware:
    """A firmware that lists so many lines after each typed one, as far as it is let."""
    while True:
        yield ReadLine(b"> ")
        for _ in range(lines):
            answers.append((yield Work(Chore.LIST_LINE)))
            if answers[-1]:
                break


def waits(page_lines: int, lines: int, *, key: Answer = False) -> tuple[list[int], list[Answer]]:
    """Lines listed before each wait for a key, in one listing, and what the firmware was told."""
    answers: list[Answer] = []
    board = by_pages(listing(lines, answers), page_lines, b"more")
    assert next(board) == ReadLine(b"> ")
    op: Op = board.send(b"LIST")
    found, listed = [], 0
    while not isinstance(op, ReadLine):
        if isinstance(op, ReadKey):
            assert op.prompt == b"more"
            found.append(listed - 1)
            op = board.send(key)
        else:
            listed += 1
            op = board.send(False)
    return found, answers


@pytest.mark.parametrize(
    ("page_lines", "lines", "expected"),
    [(0, 9, []), (3, 3, []), (3, 4, [3]), (3, 7, [3, 6]), (1, 3, [1, 2])],
)
def test_a_key_is_wanted_before_the_first_line_of_each_further_page(
    page_lines: int, lines: int, expected: list[int]
) -> None:
    """A board without pages never waits, and none waits behind the last line."""
    assert waits(page_lines, lines) == (expected, [False] * lines)


def test_an_interrupt_at_a_full_page_ends_the_listing() -> None:
    """The firmware is told as if it had been interrupted in the line."""
    assert waits(3, 9, key=True) == ([3], [False, False, False, True])
