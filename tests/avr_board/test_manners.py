"""The chip's own firmware in the manners capital and token talks as the practice kinds do."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from kind_board import KindBoard

# The chip is simulated at its own speed: tracing here only makes the host late.
pytestmark = pytest.mark.no_cover

BAUD = 115200

# What a board can do that only keeps programs. Each is typed when the answer before it is complete.
CAPITAL = [
    *(b"\r", b"\n", b"\r\n", b"LIST\r", b"MEM\r", b"ELIST\r", b"NEW\r", b"FROB\r"),
    *(b"10 REM hi there\r", b"20  LET  x = 5\r", b"30 rem don't shout now\r", b"40print 7\r"),
    *(b'50 REM "quoted small" after\r', b"LIST\r", b"MEM\r", b"20\r", b"list\r", b"  30 \r"),
    *(b"0 REM\r", b"40000 REM\r", b"65529 REM\r", b"65530 REM\r", b"99999 REM\r", b"LIST\r"),
    *(b"\x08\x08", b"\r", b"60 REM ABX\x08C\x03\r", b"LIST\r"),
    *(b"ESAVE\r", b"MEM\r", b"NEW\r", b"LIST\r", b"ELIST\r", b"ELOAD\r", b"LIST\r", b"MEM\r"),
    *(b"NEW\r", *(b"%d REM %s\r" % (number, b"z" * 56) for number in range(100, 115))),
    *(b"MEM\r", b"115 REM " + b"y" * 31 + b"\r", b"MEM\r", b"90 REM " + b"x" * 30 + b"\r"),
    *(b"LIST\r", b"NEW\r", b"MEM\r", b"\r"),
]
TOKEN = [
    *(b"\n", b"\r", b"\n", b"LIST\n", b"PRINT SIZE\n", b"FROB\n"),
    *(b"10 PRINT \"Hello, 'World'\"\n", b"20  LET  x = 5\n", b"30 rem don't shout now\n"),
    *(b"40print 7\n", b'50 REM "quoted small" after\n', b"60 PRINT 1: PRINT 2\n", b"LIST\n"),
    *(b"PRINT SIZE\n", b"70 IFx<>1THENprint(A1+B$)*3,40\n", b'80 PRINT ""; ABS (X)\n', b"LIST\n"),
    *(b"PRINT SIZE\n", b"20\n", b"0 REM\n", b"70000 REM\n", b"65536 REM\n", b"LIST\n"),
    *(b"40000 REM\n", b"LIST\n", b"SAVE\n", b"CATALOG\n", b"NEW\n", b"LIST\n", b"LOAD\n"),
    *(b"LIST\n", b"PRINT SIZE\n", b"90 REM A\x08B\n", b"91 REM #\n", b"LIST\n"),
    *(b"10 REM " + b"a" * 70, b"ab\n", b"LIST\n", b"NEW\n"),
    *(b"%d REM %s\n" % (number, b"z" * 60) for number in range(100, 119)),
    *(b"LIST\n", b"NEW\n", b"PRINT SIZE\n"),
]


@pytest.mark.parametrize(("kind", "typed"), [("capital", CAPITAL), ("token", TOKEN)])
def test_the_chip_answers_as_the_practice_kind_does(
    kind: str, typed: list[bytes], avr_board: Callable[..., Any]
) -> None:
    """After a restart, and to each typed line, the same bytes."""
    model = KindBoard(kind)
    greeting = model.restart()
    board = avr_board(baud=BAUD, line_ms=1, manner=kind, greeting=greeting)
    with board.opened() as port:
        board.restart()
        assert port.hear(lambda heard: len(heard) >= len(greeting)) == greeting
        for line in typed:
            answer = model.say(line)
            port.write(line)
            # One byte too many would be the first of the next answer.
            assert port.hear(lambda heard, answer=answer: len(heard) >= len(answer)) == answer, line
    assert board.counts().lost == 0


def test_listing_is_stopped_by_the_key_of_the_manner(avr_board: Callable[..., Any]) -> None:
    """3 ends a listing with the words of the kind, and is text while a line is typed."""
    greeting = KindBoard("capital").restart()
    board = avr_board(baud=9600, line_ms=0, manner="capital", greeting=greeting)
    with board.opened() as port:
        for number in range(10, 16):
            port.say(b"%d REM %s\r" % (number, b"Q" * 60), ends=b"\n\r>")
        port.write(b"LIST\r")
        port.hear(lambda heard: b"10 REM Q" in heard)
        heard = port.say(b"\x03", ends=b">")
        assert heard.endswith(b"\n\rbreak!\n\rOK\n\r>")
