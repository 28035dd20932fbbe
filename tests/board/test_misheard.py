"""A command that damage turned into a line of the program (found by scripts/soak.py)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.board.dialogue.misheard import after_a_digit, find_misheard_command
from hostlink.cli.ways import in_commands
from hostlink.errors import LinkError, LinkReason, ReadBackError
from hostlink.listing.parse import Line
from hostlink.practice.settings import BoardSettings

Program = Callable[[str], dict[int, Line]]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("3 IST\n10 END\n", (3, "LIST")),
        ("9 ETCH ONE\n", (9, "FETCH ONE")),
        ("4RINTROOM()\n", (4, "PRINT ROOM()")),
        ("7 EW\n", (7, "NEW")),
        ("6 RINT ROOMM()\n", (6, "PRINT ROOM()")),
        ("6 RIINT ROOM(\x1a\n", (6, "PRINT ROOM()")),
        ("5 PRINT ROM()\n", None),
        ("5 PRRINT ROOM()\n", None),
        ("5 PRINT TIDE()\n", None),
        ("1 WEW\n", None),
        ("3 ST\n", (3, "LIST")),
        ("3 IT\n", (3, "LIST")),
        ("3 ISTT\n", (3, "LIST")),
        ("3 LST\n", None),
        ("3 IF\n", None),
        ("3 NEW\n", None),
        ("3 B=A+1:C=2\n", None),
        ("3 =A+1:C=2\n", (3, "A=A+1:C=2")),
        ("10 IST\n", None),
        ("3 LIST\n", None),
        ("3 PRINT\n", None),
        ("", None),
    ],
)
def test_a_line_that_is_a_command_less_its_first_letter_is_ours(
    program: Program, text: str, found: tuple[int, str] | None
) -> None:
    """Blanks do not count; the number has one digit, for one byte became it. A long one may have
    been damaged once more; what somebody mistyped is theirs."""
    typed = ["LIST", "NEW", "FETCH ONE", "PRINT ROOM()", "X", "A=A+1:C=2"]
    assert find_misheard_command(program(text), typed) == found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("5 LIST\n10 END\n", (5, "LIST")),
        ("7 printroom()\n", (7, "PRINT ROOM()")),
        ("5 LISTS\n", None),
        ("15 LIST\n", None),
        ("3 LIST\n", None),
        ("", None),
    ],
)
def test_a_whole_command_after_a_digit_is_ours(
    program: Program, text: str, found: tuple[int, str] | None
) -> None:
    """Whatever the board made of its blanks and case; but line 3 the program had before."""
    own = program("3 LIST\n10 END\n")
    assert after_a_digit(program(text), ["LIST", "PRINT ROOM()"], own) == found


@pytest.mark.parametrize("echo", [True, False])
def test_such_a_line_is_deleted_and_nothing_is_called_read(
    bench: Callable[..., Any], echo: bool
) -> None:
    """The capture fails in words, the line is gone, and the next capture is the user's program."""
    b = bench(BoardSettings(echo=echo), line_cancel=b"", erase=b"")
    b.put('3 IST\n10 PRINT "EBB"\n20 END\n')
    b.dialogue.attach()
    with pytest.raises(LinkError, match="was stored as line 3") as caught:
        b.dialogue.capture()
    assert caught.value.reason is LinkReason.DAMAGED
    assert caught.value.kept and in_commands(caught.value.advice)
    assert b.held == {10: 'PRINT "EBB"', 20: "END"}
    assert sorted(b.dialogue.capture().lines) == [10, 20]


def test_a_capture_that_fails_says_which_command_became_a_line(bench: Callable[..., Any]) -> None:
    """Whatever proves the program arrives damaged until it is given up (found by the soak: "The
    program is still on the board", with a line 3 that nobody had sent)."""
    b = bench(line_cancel=b"", erase=b"")
    b.put('10 PRINT "EBB"\n20 END\n')
    b.dialogue.attach()
    listed, right, asked = b.dialogue.read_listing, b.dialogue.free_memory, []

    def damaged() -> Any:
        asked.append(1)
        if len(asked) == 2:
            b.put('3 IST\n10 PRINT "EBB"\n20 END\n')
        return listed()

    def disturbed() -> Any:
        b.dialogue.evidence.disturbed()
        return right()

    b.dialogue.read_listing, b.dialogue.free_memory = damaged, disturbed
    with pytest.raises(ReadBackError, match="line 3, which the board was told to delete") as caught:
        b.dialogue.capture()
    assert "become one more line" in caught.value.kept
    assert b.held == {10: 'PRINT "EBB"', 20: "END"}


def test_a_command_typed_in_this_conversation_is_known_again(bench: Callable[..., Any]) -> None:
    """What is typed by name, as a stored program's recall, counts like the profile's commands."""
    b = bench()
    b.put("2 ETCH TWO\n10 END\n")
    b.dialogue.attach()
    assert sorted(b.dialogue.capture().lines) == [2, 10]
    b.dialogue.ask("FETCH TWO")
    with pytest.raises(LinkError, match=r"FETCH TWO.*line 2"):
        b.dialogue.capture()
