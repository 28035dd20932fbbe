"""The practice board's BASIC: every error has its own short words, and nothing is lost by it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from basic_runs import run_program

from hostlink.practice.basic import Basic
from hostlink.practice.kind import ERROR_WORDS

Typed = Callable[..., str]


@pytest.mark.parametrize(
    ("listing", "error"),
    [
        ("10 GOTO 120", "no such line 120 in 10"),
        ("10 GOSUB 0", "no such line 0 in 10"),
        ("10 IF 1=1 THEN 5", "no such line 5 in 10"),
        ("10 PRINT 1/0", "cannot divide by 0 in 10"),
        ("10 PRINT 5/(A*2)", "cannot divide by 0 in 10"),
        ("10 A=32767+1", "number out of range in 10"),
        ("10 A=-32768-1", "number out of range in 10"),
        ("10 A=200*200", "number out of range in 10"),
        ("10 A=32768", "number out of range in 10"),
        ("10 A=-32768\n20 A=-A", "number out of range in 20"),
        ("10 A=-32768\n20 A=ABS(A)", "number out of range in 20"),
        ("10 A=-32768\n20 A=A/-1", "number out of range in 20"),
        ("10 A=99999999999999999999", "number out of range in 10"),
        ("10 RETURN", "RETURN has no GOSUB in 10"),
        ("10 NEXT I", "NEXT has no FOR in 10"),
        ("10 FOR I=1 TO 2\n20 NEXT J", "NEXT has no FOR in 20"),
        ("10 FOR I=1 TO 2\n20 GOSUB 30\n30 NEXT I", "NEXT has no FOR in 30"),
        ("10 GOSUB 10", "more than 8 GOSUB open in 10"),
        ("10 A=RND(0)", "RND wants 1 or more in 10"),
        ("10 A=RND(-5)", "RND wants 1 or more in 10"),
        ("10 FOO", "unknown statement FOO in 10"),
        ("10 5", "unknown statement 5 in 10"),
        ("10 A", "unknown statement A in 10"),
        ('10 PRINT "open', "closing quote is missing in 10"),
        ("10 PRINT 1 2", "puzzled by 2 in 10"),
        ("10 PRINT (1", "line ends too soon in 10"),
        ("10 PRINT 1)", "puzzled by ) in 10"),
        ("10 PRINT RND", "line ends too soon in 10"),
        ("10 PRINT ROOM(1)", "puzzled by 1) in 10"),
        ("10 A=", "line ends too soon in 10"),
        ("10 LET 5=A", "puzzled by 5=A in 10"),
        ("10 IF A", "line ends too soon in 10"),
        ("10 IF 1=1 THEN", "line ends too soon in 10"),
        ("10 GOTO", "line ends too soon in 10"),
        ("10 FOR I=1", "line ends too soon in 10"),
        ("10 END NOW", "puzzled by NOW in 10"),
        ("10 INPUT 5", "puzzled by 5 in 10"),
        ("10 PRINT " + "(" * 20 + "1" + ")" * 20, "too many brackets in 10"),
        ("10 STOW", "a name is 1 to 8 letters or digits in 10"),
        ("10 FETCH NOTHING", "nothing on the shelf called NOTHING in 10"),
    ],
)
def test_each_error_has_its_words_and_names_its_line(listing: str, error: str) -> None:
    """The error begins with the board's mark and ends with the line it happened in."""
    assert run_program(listing) == f"{ERROR_WORDS[0]}{error}\n"


def test_a_direct_error_names_no_line(typed: Typed) -> None:
    """A direct command has no line number to name."""
    assert typed(Basic(), "GOTO 7") == "! no such line 7\n"


def test_loops_may_nest_to_eight_and_no_deeper() -> None:
    """Eight open FOR are allowed, a ninth is an error."""
    eight = "".join(f"{10 + n} FOR {letter}=1 TO 1\n" for n, letter in enumerate("ABCDEFGH"))
    assert run_program(eight + "30 PRINT 5") == " 5\n"
    assert run_program(eight + "30 FOR I=1 TO 1") == "! more than 8 FOR open in 30\n"


def test_subroutines_may_nest_to_eight_and_no_deeper() -> None:
    """Eight open GOSUB are allowed, a ninth is an error."""
    listing = "10 A=A+1\n20 IF A<{} THEN GOSUB 10\n30 PRINT A\n40 END\n"
    assert run_program(listing.format(9)) == " 9\n"
    assert run_program(listing.format(10)) == "! more than 8 GOSUB open in 20\n"


def test_a_bad_line_is_stored_and_complains_only_when_it_is_reached(typed: Typed) -> None:
    """Like the small interpreters, the board takes any text; the good part of a line still runs."""
    board = Basic()
    assert typed(board, "10 PRINT 1: NONSENSE", "20 PRINT 2") == ""
    assert typed(board, "RUN") == " 1\n! unknown statement NONSENSE in 10\n"
    assert typed(board, "10 IF 1=2 THEN NONSENSE", "RUN") == " 2\n"


def test_an_error_starts_on_a_line_of_its_own() -> None:
    """Output that was left open is ended first, so that an error is seen as one."""
    assert run_program('10 PRINT "A";\n20 FOO') == "A\n! unknown statement FOO in 20\n"


def test_an_error_keeps_program_and_variables(typed: Typed) -> None:
    """After an error all that was typed and calculated is still there."""
    board = Basic()
    typed(board, "10 A=5", "20 A=A/0", "RUN")
    assert typed(board, "PRINT A", "LIST") == " 5\n10 A=5\n20 A=A/0\n"


def test_no_error_leaves_a_loop_or_call_open_for_the_next_command(typed: Typed) -> None:
    """RETURN and NEXT typed after an error find nothing open."""
    board = Basic()
    typed(board, "10 FOR I=1 TO 5", "20 GOSUB 30", "30 FOO", "RUN")
    assert typed(board, "RETURN") == "! RETURN has no GOSUB\n"
    assert typed(board, "NEXT I") == "! NEXT has no FOR\n"


def test_an_error_shows_control_bytes_as_dots(typed: Typed) -> None:
    """Bytes that could steer a terminal are not sent back in an error."""
    assert typed(Basic(), "\x1b[2J\x07\xff") == "! unknown statement .[2J..\n"


@pytest.mark.parametrize("blank", ["\x1c", "\x1d", "\x1e", "\x1f", "\x85", "\xa0"])
def test_a_blank_of_python_alone_is_a_character_to_the_board(typed: Typed, blank: str) -> None:
    """What str.strip takes for a blank, but BASIC does not, is an unknown statement."""
    assert typed(Basic(), blank) == "! unknown statement .\n"
