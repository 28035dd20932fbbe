"""Boards with one odd habit each: all that a survey keeps of them loads and saves, proven."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from soak_random import PROGRAMS, kept_of, try_board

from hostlink.practice.kind import BoardKind, KindLanguage, KindStorage, Messages
from hostlink.practice.kind_file import find_kind
from hostlink.practice.settings import BoardSettings

LONG = 24  # lines that are more than a page of ten


def board(messages: Messages | None = None, **settings: Any) -> BoardKind:
    """A practice board with other settings, without a bootloader."""
    talk = BoardSettings(bootloader=False, **settings)
    return BoardKind("odd", "odd board", settings=talk, messages=messages or Messages())


def strict(**settings: Any) -> BoardKind:
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
    "takes back one key at a time from a line that is too long": board(
        receive_buffer=0,
        char_ms=2.0,
        longest_line=48,
        line_cancel=b"",
        too_long_answer=b"",
        erase_answer=b"\x7f",
        erase_beyond="harms",
        prompt=b"]",
        baud=19200,
    ),
    "pages by the blank alone, and has no prompt": board(
        FRAMED, page_lines=10, page_prompt=b"MORE?", page_key=b" ", prompt=b"", line_done="echo"
    ),
}

ODD |= {
    f"counts behind its listing, {begin}{end}": board(
        Messages(list_begin=begin, list_end=f"{end}{{end}}"), prompt=b"]"
    )
    for begin, end in (
        ("", "{count} LINES"),
        ("", "{used} BYTES USED"),
        ("LISTING OF PROGRAM{end}======{end}", "{count} LINES"),
    )
}


@pytest.mark.one_in(5)
@pytest.mark.parametrize("habit", ODD)
def test_a_board_with_an_odd_habit_is_surveyed_and_used(habit: str) -> None:
    """Nothing on it is altered unsaid, and it is understood."""
    tried = try_board(ODD[habit], 1, lines=LONG)
    assert (tried.unsaid, tried.apart, tried.programs) == ([], "", PROGRAMS)


@pytest.mark.one_in(2)
@pytest.mark.parametrize("lines", [5, 14])
def test_a_page_prompt_right_behind_a_line_is_told_from_it(lines: int) -> None:
    """By test lines of which the end is known, or by the line where it stopped, listed alone."""
    kind = board(GLUED, page_lines=10, page_key=b" ")
    tried = try_board(kind, 1, lines=lines)
    assert (tried.unsaid, tried.apart, tried.programs) == ([], "", PROGRAMS)


@pytest.mark.one_in(3)
@pytest.mark.parametrize("row", ["{number} {text}", "{number}: {text}", "{number:>5}{text}"])
def test_a_blank_that_the_board_keeps_does_not_grow(row: str) -> None:
    """A program that was saved is the same one when it is loaded again, however it is listed."""
    kept = dataclasses.replace(board(), storage=KindStorage(blanks="kept", row=row))
    tried = try_board(kept, 1)
    assert (tried.unsaid, tried.apart, tried.programs) == ([], "", PROGRAMS)


@pytest.mark.one_in(9)
@pytest.mark.parametrize("key", [b"", b"#", b"\x03"])
@pytest.mark.parametrize("talk", [{}, {"prompt": b"", "line_done": "echo"}, {"baud": 300}])
def test_the_key_that_stops_a_program_is_found_or_none_is_kept(
    key: bytes, talk: dict[str, Any]
) -> None:
    """Also where no prompt tells that it has stopped; a fast loop that ends by itself is no sign,
    and a board that heeds no key is not said to have one."""
    kind = board(interrupt=key, statement_ms=0.1, **{"prompt": b"* ", **talk})
    assert kept_of(kind, 1).talk.interrupt == key


def test_all_words_of_refusals_that_were_seen_are_kept() -> None:
    """Of an unknown word, a line that is not there, a number that is none; and nothing of what a
    refusal repeats."""
    assert kept_of(strict(prompt=b"* "), 1).commands.error_words == (
        "Not a statement",
        "No line of that number",
    )


def test_a_word_that_nothing_shows_is_likely_only() -> None:
    """A board that has no END: it may be left out, as a program that ran without it shows."""
    words = {**dict(BoardKind().language.words), "end": ("STOP",)}
    kind = dataclasses.replace(
        board(prompt=b"* "),
        language=dataclasses.replace(KindLanguage(), words=tuple(words.items())),
    )
    kept = kept_of(kind, 1)
    evidence = dict(kept.evidence)
    assert "END" in kept.rules.language.optional
    assert evidence["language.statements"].startswith("likely: ")
    assert "END" in evidence["language.statements"]
