"""Boards with one odd habit each: all that a survey keeps of them loads and saves, proven."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from soak_random import PROGRAMS, try_board

from hostlink.practice.kind import Kind, Messages
from hostlink.practice.kind_file import find_kind
from hostlink.practice.settings import BoardSettings

LONG = 24  # lines that are more than a page of ten


def board(messages: Messages | None = None, **settings: Any) -> Kind:
    """A practice board with other settings, without a bootloader."""
    talk = BoardSettings(bootloader=False, **settings)
    return Kind("odd", "odd board", settings=talk, messages=messages or Messages())


def strict(**settings: Any) -> Kind:
    """The kind that repeats what it does not take."""
    kind = find_kind("strict")
    return dataclasses.replace(kind, settings=dataclasses.replace(kind.settings, **settings))


FRAMED = Messages(list_begin="PROGRAM{end}", list_end="END{end}")
GLUED = Messages(list_row="{end}{row}", done="{end}OK{end}", open_row=False)
ODD = {
    "ready after an empty line, not after a stored one": board(
        Messages(done="OK{end}", done_blank=True), prompt=b""
    ),
    "rows that end with the CR that ends a typed line": board(
        prompt=b"", reply_end=b"\r", controls="echoed"
    ),
    "repeats what arrived at a wrong speed": strict(baud=2400, line_end=b"\n", ignored=b""),
    "pages between rows of its own": board(
        FRAMED, page_lines=10, page_prompt=b"MORE?", prompt=b"=> "
    ),
    "like a known kind, but pages between rows of its own": board(FRAMED, page_lines=10),
    "pages by the blank alone, and has no prompt": board(
        FRAMED, page_lines=10, page_prompt=b"MORE?", page_key=b" ", prompt=b"", line_done="echo"
    ),
}


@pytest.mark.parametrize("habit", ODD)
def test_a_board_with_an_odd_habit_is_surveyed_and_used(habit: str) -> None:
    """Nothing on it is altered unsaid, and it is understood."""
    tried = try_board(ODD[habit], 1, lines=LONG)
    assert (tried.unsaid, tried.apart, tried.programs) == ([], "", PROGRAMS)


def test_a_page_prompt_right_behind_a_line_is_told_from_it() -> None:
    """By test lines of which the end is known."""
    kind = board(GLUED, page_lines=10, page_key=b" ")
    tried = try_board(kind, 1, lines=5)
    assert (tried.unsaid, tried.apart, tried.programs) == ([], "", PROGRAMS)
