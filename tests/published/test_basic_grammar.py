"""The practice board's BASIC against the grammar of Tiny BASIC.

Source: *Design notes for Tiny BASIC*, People's Computer Company 1975, reprinted in Dr. Dobb's
Journal vol. 1 no. 1, 1976, p. 9 (read in secondary sources that quote it):

    line ::= number statement CR | statement CR
    statement ::= PRINT expr-list | IF expr relop expr THEN statement | GOTO expr | INPUT var-list
        | LET var = expr | GOSUB expr | RETURN | CLEAR | LIST | RUN | END
    relop ::= < (> | = | nothing) | > (< | = | nothing) | =

Sizes of stored lines: Palo Alto Tiny BASIC, Dr. Dobb's Journal, May 1976: a 16-bit number, then
the text with its end of line, blanks after the number dropped (derived from that rule).
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from basic_runs import STATEMENTS, drive, run_program

from hostlink.practice.basic import Basic


@pytest.mark.parametrize(
    ("listing", "printed"),
    [
        ('10 PRINT "HELLO"', "HELLO"),
        ('10 PRINT "A","B"', "A B"),
        ("10 PRINT 1,2+3,-4", "1 5 -4"),
        ("10 PRINT", ""),
        ("10 LET A=2\n20 PRINT A", "2"),
        ("10 IF 1<2 THEN PRINT 7", "7"),
        ("10 IF 1<2 THEN LET A=8\n20 PRINT A", "8"),
        ("10 IF 1<2 THEN IF 2<3 THEN PRINT 9", "9"),
        ("10 IF 1<2 THEN GOTO 30\n20 PRINT 1\n30 PRINT 2", "2"),
        ("10 GOTO 30\n20 PRINT 1\n30 PRINT 2", "2"),
        ("10 A=1\n20 GOTO 20+A*10\n25 PRINT 1\n30 PRINT 2", "2"),
        ("10 GOSUB 30\n20 END\n30 PRINT 3\n40 RETURN", "3"),
        ("10 A=4\n20 GOSUB A*10\n30 END\n40 PRINT 4\n50 RETURN", "4"),
        ("10 PRINT 1\n20 END\n30 PRINT 2", "1"),
        ("10 CLEAR\n20 PRINT 1", ""),
        ("10 LIST", "10 LIST"),
    ],
)
def test_every_statement_of_the_published_grammar_runs(
    listing: str, printed: str, collapsed: Callable[[str], list[str]]
) -> None:
    """Each statement form of the notes does what it says."""
    assert collapsed(run_program(listing)) == printed.splitlines()


def test_input_takes_a_list_of_variables(collapsed: Callable[[str], list[str]]) -> None:
    """`INPUT A,B` takes two numbers from one line."""
    printed = run_program("10 INPUT A,B\n20 PRINT A-B", ["5,7"])
    assert collapsed(printed) == ["? 5,7", "-2"]


@pytest.mark.parametrize(
    ("relop", "holds"),
    [
        ("<", (True, False, False)),
        ("<=", (True, True, False)),
        ("=", (False, True, False)),
        (">=", (False, True, True)),
        (">", (False, False, True)),
        ("<>", (True, False, True)),
        ("><", (True, False, True)),
    ],
)
def test_every_relation_of_the_published_grammar_compares(
    relop: str, holds: tuple[bool, ...], collapsed: Callable[[str], list[str]]
) -> None:
    """Each relation is right for less, equal and greater."""
    for left, expected in zip((1, 2, 3), holds, strict=True):
        printed = run_program(f'10 IF {left}{relop}2 THEN PRINT "Y"')
        assert collapsed(printed) == (["Y"] if expected else []), left


def test_signs_and_ranks_of_operators_follow_the_grammar(
    collapsed: Callable[[str], list[str]],
) -> None:
    """`expression ::= (+ | - | nothing) term ((+ | -) term)*`; brackets first, then terms."""
    printed = run_program("10 PRINT -2+3*4;+5;(-2+3)*4;20/2/5;9-3-2;-(1-4)")
    assert collapsed(printed) == ["10 5 4 2 4 3"]


def test_a_direct_statement_runs_and_a_numbered_one_waits() -> None:
    """`line ::= number statement | statement`: without a number it runs at once."""
    board = Basic()
    assert drive(board.enter(b"PRINT 5")) == " 5\r\n"
    assert drive(board.enter(b"10 PRINT 5")) == ""
    assert board.lines == {10: b"PRINT 5"}
    assert drive(board.enter(b"RUN")) == " 5\r\n"


def test_a_number_alone_deletes_its_line() -> None:
    """A line number alone takes that line out; another line stays."""
    board = Basic()
    for line in (b"10 END", b"20 END", b"10"):
        drive(board.enter(line))
    assert board.lines == {20: b"END"}


@pytest.mark.parametrize(
    ("typed", "size"),
    [(b'10 PRINT "HELLO"', 16), (b"20 GOTO 10", 10), (b"20   GOTO 10", 10), (b"20GOTO 10", 10)],
)
def test_a_stored_line_takes_its_number_its_text_and_its_end(typed: bytes, size: int) -> None:
    """2 bytes for the number, the text without the blanks before it, 1 byte for the end."""
    board = Basic()
    drive(board.enter(typed))
    assert board.free() == 999 - size


def test_every_statement_word_of_the_notes_is_known() -> None:
    """The words that the board names as its statements include all of the notes."""
    notes = {"PRINT", "IF", "GOTO", "INPUT", "LET", "GOSUB", "RETURN", "CLEAR", "LIST", "RUN"}
    assert notes | {"END"} <= set(STATEMENTS)
