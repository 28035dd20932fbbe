"""The kinds capital, token and ready answer byte for byte as boards of their kinds did.

Source of every row: dialogues measured on real interpreters, see the table of kinds. The names that
they greet with are ours. One dialogue is a fresh board and what is typed at it, line after line.
"""

from __future__ import annotations

import pytest
from kind_board import KindBoard

from hostlink.board.profile.file import find_profile
from hostlink.listing.measure import line_cost
from hostlink.listing.parse import Line

Dialogue = list[tuple[bytes, bytes]]

CAPITAL: dict[str, Dialogue] = {
    "an empty line has its end and the prompt, for CR and for LF": [
        (b"\r", b"\n\r>"),
        (b"\n", b"\n\r>"),
        (b"\r\n", b"\n\r>\n\r>"),
    ],
    "NEW says no OK, LIST does": [
        (b"NEW\r", b"NEW\n\r>"),
        (b"LIST\r", b"LIST\n\rOK\n\r>"),
    ],
    "a stored line has the prompt alone": [(b"10 PRINT 1\r", b"10 PRINT 1\n\r>")],
    "small letters are echoed small and kept as capitals, in remarks too": [
        (b"10 REM hi there\r", b"10 REM hi there\n\r>"),
        (b"20  LET  x = 5\r", b"20  LET  x = 5\n\r>"),
        (b"30 rem don't shout now\r", b"30 rem don't shout now\n\r>"),
        (b"40print 7\r", b"40print 7\n\r>"),
        (b'50 REM "quoted small" after\r', b'50 REM "quoted small" after\n\r>'),
        (
            b"LIST\r",
            b"LIST\n\r10 REM HI THERE\n\r20 LET  X = 5\n\r30 REM DON't shout now\n\r"
            b'40 PRINT 7\n\r50 REM "quoted small" AFTER\n\rOK\n\r>',
        ),
        (
            b"LIST 40\r",
            b'LIST 40\n\r40 PRINT 7\n\r50 REM "quoted small" AFTER\n\rOK\n\r>',
        ),
        (b"50\r", b"50\n\r>"),
        (b"LIST 40\r", b"LIST 40\n\r40 PRINT 7\n\rOK\n\r>"),
    ],
    "a bare word asks for the free memory, in three rows": [
        (
            b"MEM\r",
            b"MEM\n\r1039 bytes free.\n\r1024 EEProm bytes total.\n\r"
            b"1 EEProm bytes available.\n\r>",
        ),
        (b"10 PRINT 5\r", b"10 PRINT 5\n\r>"),
        (
            b"MEM\r",
            b"MEM\n\r1028 bytes free.\n\r1024 EEProm bytes total.\n\r"
            b"1 EEProm bytes available.\n\r>",
        ),
        (b"20  REM hello\r", b"20  REM hello\n\r>"),
        (
            b"MEM\r",
            b"MEM\n\r1015 bytes free.\n\r1024 EEProm bytes total.\n\r"
            b"1 EEProm bytes available.\n\r>",
        ),
    ],
    "one program is kept without a name": [
        (b"10 PRINT 77\r", b"10 PRINT 77\n\r>"),
        (b"ESAVE\r", b"ESAVE\n\rOK\n\r>"),
        (b"ELIST\r", b"ELIST\n\r10 PRINT 77\n\r>"),
        (b"NEW\r", b"NEW\n\r>"),
        (b"ELOAD\r", b"ELOAD\n\r\n\r>"),
        (b"LIST\r", b"LIST\n\r10 PRINT 77\n\rOK\n\r>"),
    ],
    "an EEPROM without a program is shown as 1,024 question marks": [
        (b"ELIST\r", b"ELIST\n\r" + b"?" * 1024 + b">"),
    ],
    "what is left of the EEPROM is told by its rows": [
        (b"10 PRINT A\r", b"10 PRINT A\n\r>"),
        (b"20 LIST\r", b"20 LIST\n\r>"),
        (b"30 NEXT I\r", b"30 NEXT I\n\r>"),
        (b"ESAVE\r", b"ESAVE\n\rOK\n\r>"),
        (
            b"MEM\r",
            b"MEM\n\r1010 bytes free.\n\r1024 EEProm bytes total.\n\r"
            b"992 EEProm bytes available.\n\r>",
        ),
    ],
    "a character taken back ends the row": [
        (b"\x08", b"\x08 \x08\n\r"),
        (b"\r", b"\n\r>"),
        (b"10 REM ABX\x08C\r", b"10 REM ABX\x08 \x08\n\rC\n\r>"),
        (b"LIST\r", b"LIST\n\r10 REM ABC\n\rOK\n\r>"),
        (b"PRINT 7\x08\x085\r", b"PRINT 7\x08 \x08\n\r\x08 \x08\n\r5\n\r5\n\r>"),
    ],
    "an error lists the line in front of nothing": [
        (b"FROB\r", b"FROB\n\rWhat? \n\r>"),
        (b"10 PRINT 1\r", b"10 PRINT 1\n\r>"),
        (b"20 PRINT 1/0\r", b"20 PRINT 1/0\n\r>"),
        (b"RUN\r", b"RUN\n\r1\n\rWhat? 20 PRINT 1/0\n\r\n\r>"),
        (b"10 PRINT 1/0\r", b"10 PRINT 1/0\n\r>"),
        (b"RUN\r", b"RUN\n\rWhat? 10 PRINT 1/0\n\r\n\r>"),
    ],
    "the place of a mistake has a mark, where there is one": [
        (b"20 FROB\r", b"20 FROB\n\r>"),
        (b"RUN\r", b"RUN\n\rWhat? 20 F^OB\n\r\n\r>"),
        (b"20 PRINT 1+\r", b"20 PRINT 1+\n\r>"),
        (b"RUN\r", b"RUN\n\rWhat? 20 PRINT 1+\n\r\n\r>"),
    ],
    "other errors are a word alone": [
        (b"20 NEXT I\r", b"20 NEXT I\n\r>"),
        (b"RUN\r", b"RUN\n\rHow?\n\r>"),
        (b"20 RETURN\r", b"20 RETURN\n\r>"),
        (b"RUN\r", b"RUN\n\rHow?\n\r>"),
        (b"20 GOSUB 20\r", b"20 GOSUB 20\n\r>"),
        (b"RUN\r", b"RUN\n\rSorry!\n\rOK\n\r>"),
    ],
    "line numbers: 0 and those above 65529 are refused, from 32768 on they are listed negative": [
        (b"0 REM\r", b"0 REM\n\rHow?\n\r>"),
        (b"32767 REM\r", b"32767 REM\n\r>"),
        (b"32769 REM\r", b"32769 REM\n\r>"),
        (b"40000 REM\r", b"40000 REM\n\r>"),
        (b"65529 REM\r", b"65529 REM\n\r>"),
        (b"65530 REM\r", b"65530 REM\n\rHow?\n\r>"),
        (b"65536 REM\r", b"65536 REM\n\rHow?\n\r>"),
        (b"70000 REM\r", b"70000 REM\n\rHow?\n\r>"),
        (
            b"LIST\r",
            b"LIST\n\r32767 REM\n\r-32767 REM\n\r-25536 REM\n\r-7 REM\n\rOK\n\r>",
        ),
    ],
    "control bytes are text like any other": [
        (b"30 REM forget\x18\r", b"30 REM forget\x18\n\r>"),
        (b"50 REM A\tB\r", b"50 REM A\tB\n\r>"),
        (b"LIST\r", b"LIST\n\r30 REM FORGET\x18\n\r50 REM A\tB\n\rOK\n\r>"),
    ],
    "INPUT asks without a blank, and again until a number comes": [
        (b"10 INPUT A\r", b"10 INPUT A\n\r>"),
        (b"20 PRINT A*2\r", b"20 PRINT A*2\n\r>"),
        (b"RUN\r", b"RUN\n\r?"),
        (b"21\r", b"21\n\r42\n\rOK\n\r>"),
        (b"RUN\r", b"RUN\n\r?"),
        (b"\r", b"\n\r?"),
        (b"5\r", b"5\n\r10\n\rOK\n\r>"),
    ],
    "the interrupt key is text while INPUT waits": [
        (b"10 INPUT A\r", b"10 INPUT A\n\r>"),
        (b"20 GOTO 20\r", b"20 GOTO 20\n\r>"),
        (b"RUN\r", b"RUN\n\r?"),
        (b"\x03", b"\x03"),
        (b"\r", b"\n\r?"),
        (b"7\r", b"7\n\r"),
        (b"\x03", b"break!\n\rOK\n\r>"),
    ],
    "a row left open is not ended": [
        (b'PRINT "A";\r', b'PRINT "A";\n\rA>'),
        (b'10 PRINT "A";\r', b'10 PRINT "A";\n\r>'),
        (b"RUN\r", b"RUN\n\rAOK\n\r>"),
    ],
}

TOKEN: dict[str, Dialogue] = {
    "LF ends a line, CR is echoed and ends nothing": [
        (b"\r", b"\r"),
        (b"NEW\n", b"NEW\n> "),
        (b"10 PRINT 1\n", b"10 PRINT 1\n> "),
    ],
    "there is no OK": [
        (b"10 REM\n", b"10 REM\n> "),
        (b"LIST\n", b"LIST\n10 REM\n> "),
        (b"PRINT 1+1\n", b"PRINT 1+1\n2\n> "),
        (b"REM hostlink\n", b"REM hostlink\n> "),
    ],
    "keywords are codes, names become capitals, blanks are squeezed, remarks stay": [
        (b"10 PRINT \"Hello, 'World'\"\n", b"10 PRINT \"Hello, 'World'\"\n> "),
        (b"20  LET  x = 5\n", b"20  LET  x = 5\n> "),
        (b"30 rem don't shout now\n", b"30 rem don't shout now\n> "),
        (b"40print 7\n", b"40print 7\n> "),
        (b'50 REM "quoted small" after\n', b'50 REM "quoted small" after\n> '),
        (b"60 PRINT 1: PRINT 2\n", b"60 PRINT 1: PRINT 2\n> "),
        (
            b"LIST\n",
            b"LIST\n10 PRINT \"Hello, 'World'\"\n20 LET X=5\n30 REM don't shout now\n"
            b'40 PRINT 7\n50 REM "quoted small" after\n60 PRINT 1: PRINT 2\n> ',
        ),
        (b"LIST 20\n", b"LIST 20\n20 LET X=5\n> "),
        (b"LIST 15\n", b"LIST 15\n> "),
    ],
    "free memory is a word in PRINT": [(b"PRINT SIZE\n", b"PRINT SIZE\n1169\n> ")],
    "one program is kept without a name, and its list shows nothing": [
        (b"10 PRINT 77\n", b"10 PRINT 77\n> "),
        (b"SAVE\n", b"SAVE\n> "),
        (b"CATALOG\n", b"CATALOG\n> "),
        (b"NEW\n", b"NEW\n> "),
        (b"LOAD\n", b"LOAD\n> "),
        (b"LIST\n", b"LIST\n10 PRINT 77\n> "),
    ],
    "line numbers wrap, and those from 32768 on are one empty row in LIST": [
        (b"0 REM\n", b"0 REM\nUnknown Line Error\n> "),
        (b"70000 REM\n", b"70000 REM\n> "),
        (b"65536 REM\n", b"65536 REM\nUnknown Line Error\n> "),
        (b"LIST\n", b"LIST\n4464 REM\n> "),
        (b"40000 REM\n", b"40000 REM\n> "),
        (b"LIST\n", b"LIST\n4464 REM\n\n> "),
    ],
    "an error has its line in front": [
        (b"FROB\n", b"FROB\nSyntax Error\n> "),
        (b"10 PRINT 1/0\n", b"10 PRINT 1/0\n> "),
        (b"RUN\n", b"RUN\n10: Div by 0 Error\n> "),
        (b"10 PRINT 1\n", b"10 PRINT 1\n> "),
        (b"20 GOTO 99\n", b"20 GOTO 99\n> "),
        (b"RUN\n", b"RUN\n1\n20: Unknown Line Error\n> "),
        (b"20 FROB\n", b"20 FROB\n> "),
        (b"RUN\n", b"RUN\n1\n20: Syntax Error\n> "),
    ],
    "a wrong answer to INPUT is told, and the question is not shown again": [
        (b"10 INPUT A\n", b"10 INPUT A\n> "),
        (b"20 PRINT A*2\n", b"20 PRINT A*2\n> "),
        (b"RUN\n", b"RUN\n? "),
        (b"21\n", b"21\n42\n> "),
        (b"RUN\n", b"RUN\n? "),
        (b"\x03", b"\x03"),
        (b"\n", b"\nNumber Error\n"),
        (b"7\n", b"7\n14\n> "),
    ],
    "# as an answer to INPUT stops the program, at the prompt it is text": [
        (b"10 INPUT A\n", b"10 INPUT A\n> "),
        (b"RUN\n", b"RUN\n? "),
        (b"#", b"#"),
        (b"\n", b"\n> "),
        (b"#\n", b"#\nSyntax Error\n> "),
    ],
    "a row left open is not ended": [(b'PRINT "A";\n', b'PRINT "A";\nA> ')],
    "a line of 77 characters is taken as it is, the rest is the next one": [
        (b"10 REM " + b"a" * 70, b"10 REM " + b"a" * 70 + b"> "),
        (b"ab\n", b"ab\nSyntax Error\n> "),
        (b"LIST\n", b"LIST\n10 REM " + b"a" * 70 + b"\n> "),
    ],
    "a character taken back is answered with byte 8": [
        (b"PRINT 7\x08\x08 8\n", b"PRINT 7\x08\x08 8\n8\n> "),
    ],
}

READY: dict[str, Dialogue] = {
    "Ready stands behind direct commands only": [
        (b"NEW\r", b"NEW\r\n\r\nReady\r\n"),
        (b"10 PRINT 1\r", b"10 PRINT 1\r\n"),
        (b"\r", b"\r\n"),
        (b"\n", b""),
        (b"REM hostlink\r", b"REM hostlink\r\n\r\nReady\r\n"),
        (b"PRINT 1+1\r", b"PRINT 1+1\r\n 2\r\n\r\nReady\r\n"),
        (b'PRINT "A";\r', b'PRINT "A";\r\nA\r\nReady\r\n'),
    ],
    "an empty row stands before a listing": [
        (b"10 PRINT \"Hello, 'World'\"\r", b"10 PRINT \"Hello, 'World'\"\r\n"),
        (b"20  LET  x = 5\r", b"20  LET  x = 5\r\n"),
        (b"30 rem don't shout now\r", b"30 rem don't shout now\r\n"),
        (b"40print 7\r", b"40print 7\r\n"),
        (
            b"LIST\r",
            b"LIST\r\n\r\n10 PRINT \"Hello, 'World'\"\r\n20 LET  x = 5\r\n"
            b"30 rem don't shout now\r\n40 print 7\r\n\r\nReady\r\n",
        ),
        (b"LIST 20\r", b"LIST 20\r\n\r\n20 LET  x = 5\r\n\r\nReady\r\n"),
        (b"NEW\r", b"NEW\r\n\r\nReady\r\n"),
        (b"LIST\r", b"LIST\r\n\r\n\r\nReady\r\n"),
    ],
    "free memory is told with a sign": [
        (b"PRINT FRE(0)\r", b"PRINT FRE(0)\r\n-17194\r\n\r\nReady\r\n"),
    ],
    "small keywords are text, which fails when it runs": [
        (b'10 print "a"\r', b'10 print "a"\r\n'),
        (b"LIST\r", b'LIST\r\n\r\n10 print "a"\r\n\r\nReady\r\n'),
        (b"RUN\r", b"RUN\r\n\r\nSyntax Error in line 10\r\nReady\r\n"),
        (b"print 1+1\r", b"print 1+1\r\n\r\nSyntax Error\r\nReady\r\n"),
    ],
    "line numbers run from 0 to 63999": [
        (b"0 REM\r", b"0 REM\r\n"),
        (b"63999 REM\r", b"63999 REM\r\n"),
        (b"64000 REM\r", b"64000 REM\r\n\r\nSyntax Error\r\nReady\r\n"),
        (b"LIST\r", b"LIST\r\n\r\n0 REM\r\n63999 REM\r\n\r\nReady\r\n"),
    ],
    "an error has its line behind": [
        (b"10 PRINT 1/0\r", b"10 PRINT 1/0\r\n"),
        (b"RUN\r", b"RUN\r\n\r\nDivide by zero Error in line 10\r\nReady\r\n"),
        (b"10 PRINT 1\r", b"10 PRINT 1\r\n"),
        (b"20 GOTO 99\r", b"20 GOTO 99\r\n"),
        (b"RUN\r", b"RUN\r\n 1\r\n\r\nUndefined statement Error in line 20\r\nReady\r\n"),
        (b"GOTO 99\r", b"GOTO 99\r\n\r\nUndefined statement Error\r\nReady\r\n"),
        (b"NEXT\r", b"NEXT\r\n\r\nNEXT without FOR Error\r\nReady\r\n"),
        (b"RETURN\r", b"RETURN\r\n\r\nRETURN without GOSUB Error\r\nReady\r\n"),
    ],
    "3 is ignored while INPUT waits, and an empty answer ends the program": [
        (b"10 INPUT A\r", b"10 INPUT A\r\n"),
        (b"20 PRINT A*2\r", b"20 PRINT A*2\r\n"),
        (b"RUN\r", b"RUN\r\n? "),
        (b"21\r", b"21\r\n 42\r\n\r\nReady\r\n"),
        (b"RUN\r", b"RUN\r\n? "),
        (b"\x03", b""),
        (b"\r", b"\r\n\r\nReady\r\n"),
    ],
    "what is typed beyond 71 characters rings the bell": [
        (
            b"10 REM " + b"a" * 66 + b"\r",
            b"10 REM " + b"a" * 64 + b"\x07\x07\r\n",
        ),
        (b"LIST\r", b"LIST\r\n\r\n10 REM " + b"a" * 64 + b"\r\n\r\nReady\r\n"),
    ],
    "a character taken back is answered with byte 8": [
        (b"PRINT 12\x08\x083\r", b"PRINT 12\x08\x083\r\n 3\r\n\r\nReady\r\n"),
        (b"\x08\x08\r", b"\r\n"),
    ],
}

ALL = [
    pytest.param(kind, dialogue, id=f"{kind}: {name}")
    for kind, table in (("capital", CAPITAL), ("token", TOKEN), ("ready", READY))
    for name, dialogue in table.items()
]


@pytest.mark.parametrize(("kind", "dialogue"), ALL)
def test_the_dialogue_is_the_measured_one(kind: str, dialogue: Dialogue) -> None:
    """Each typed line has exactly the answer that boards of this kind gave."""
    board = KindBoard(kind)
    for typed, answer in dialogue:
        # Slow to store, the board would lose what comes behind a line end; people type slower.
        assert b"".join(board.say(typed[at : at + 1]) for at in range(len(typed))) == answer, typed


@pytest.mark.parametrize(
    ("kind", "running", "key", "ends"),
    [
        ("capital", b"1\n\r", b"\x03", b"break!\n\rOK\n\r>"),
        ("token", b"1\n", b"#", b"> "),
        ("ready", b" 1\r\n", b"\x03", b"\r\nBreak in line 20\r\nReady\r\n"),
    ],
)
def test_a_running_program_is_stopped_by_its_key(
    kind: str, running: bytes, key: bytes, ends: bytes
) -> None:
    """Between two rows of output the board says what boards of its kind said."""
    board = KindBoard(kind, statement_ms=30.0)
    board.enter(b"10 PRINT 1", b"20 GOTO 10")
    said = board.enter(b"RUN", seconds=2.0)
    assert said.count(running) > 10
    while not board.wait(0.001).endswith(running[-1:]):  # the row is out: line 20 is next
        pass
    assert board.say(key, 1.0) == ends


def test_another_key_stops_nothing_on_a_board_that_has_its_own() -> None:
    """3 is not the key of the kind token."""
    board = KindBoard("token", statement_ms=30.0)
    board.enter(b"10 PRINT 1", b"20 GOTO 10")
    board.enter(b"RUN", seconds=1.0)
    assert board.say(b"\x03", 1.0).endswith(b"1\n1\n1\n")


def filled(free: int) -> KindBoard:
    """A board of the kind capital with so many bytes left, which its own report confirms."""
    board = KindBoard("capital")
    for number in range(100, 115):
        board.enter(b"%d REM %s" % (number, b"x" * 56))  # 64 bytes each
    board.enter(b"115 REM %s" % (b"x" * (1039 - 15 * 64 - 8 - free)))
    assert board.machine.basic.free() == free
    return board


def test_an_almost_full_memory_cuts_what_is_typed() -> None:
    """Of 9 bytes free, 5 characters may be typed: a number alone still deletes its line."""
    board = filled(9)
    assert board.say(b"PRINT 1\r") == b"PRINT\x08\x08\n\r\n\r>"
    assert board.say(b"115\r") == b"115\n\r>"
    assert board.say(b"LIST 115\r") == b"LIST 115\n\rOK\n\r>"


def test_a_full_memory_is_deaf() -> None:
    """No room is left for the typed line: each character is answered with byte 8, CR with the
    prompt; LIST, NEW and deleting are impossible, and only a restart helps."""
    board = filled(4)
    held = dict(board.lines)
    assert board.say(b"LIST\r") == b"\x08\x08\x08\x08\n\r>"
    assert board.say(b"NEW\r") == b"\x08\x08\x08\n\r>"
    assert board.say(b"115\r") == b"\x08\x08\x08\n\r>"
    assert board.lines == held
    assert board.restart().endswith(b"OK\n\r>")
    assert board.lines == {}
    assert board.say(b"LIST\r") == b"LIST\n\rOK\n\r>"


def test_a_long_line_is_cut_where_the_memory_ends() -> None:
    """Of 40 bytes free, 36 may be typed; the rest is answered with byte 8 and the line is cut."""
    board = filled(40)
    typed = b"90 REM ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    assert board.say(typed + b"\r") == typed[:36] + b"\x08" * 7 + b"\n\r>"
    assert board.lines[90] == typed[3:36]


def test_a_line_that_did_not_fit_leaves_the_token_board_stuck() -> None:
    """It is told once; from then on everything is refused, NEW too, until a restart."""
    board = KindBoard("token")
    for number in range(10, 33):
        board.enter(b"%d REM %s" % (number, b"x" * 45))  # 50 bytes each
    assert board.say(b"40 REM " + b"x" * 40 + b"\n").endswith(b"\nMemory Error\n> ")
    for typed in (b"50 REM", b"PRINT SIZE", b"10", b"LIST", b"NEW"):
        assert board.enter(typed) == typed + b"\nSyntax Error\n> "
    board.restart()
    assert board.enter(b"LIST") == b"LIST\n> "


def test_each_greets_as_its_kind_does() -> None:
    """Numbers within the greeting, a question before it, and the word that ends it."""
    rows = b"1039 bytes free.\n\r1024 EEProm bytes total.\n\r1 EEProm bytes available.\n\rOK\n\r>"
    assert KindBoard("capital").restart().partition(b"\n\r")[2] == rows
    assert KindBoard("token").restart().endswith(b" Memory 1169 1024\n> ")
    ready = KindBoard("ready")
    assert ready.restart() == b"Memory size ? "
    assert ready.enter(b"LIST") == b"LIST\r\nMemory size ? "
    said = ready.enter(b"")
    assert said.startswith(b"\r\n\r\n48342 Bytes free\r\n")
    assert said.endswith(b"\r\nReady\r\n")


def test_a_stored_program_runs_at_each_restart() -> None:
    """The greeting, then what the program says, then what its end says."""
    board = KindBoard("capital")
    board.enter(b"10 PRINT 7", b"ESAVE", b"NEW")
    said = board.restart(20.0)
    assert said.endswith(b"1012 EEProm bytes available.\n\rOK\n\r7\n\rOK\n\r>")
    assert board.lines == {10: b"PRINT 7"}


def test_recalling_from_an_eeprom_without_a_program_hangs_the_board() -> None:
    """It echoes its line end and is dead; a restart brings it back."""
    board = KindBoard("capital")
    assert board.say(b"ELOAD\r") == b"ELOAD\n\r"
    assert board.say(b"\r\x03\rLIST\r", 60.0) == b""
    assert board.restart().endswith(b"OK\n\r>")


@pytest.mark.parametrize(
    ("before", "said", "held"),
    [
        ((), b"\n\r", {}),
        ((b"10 PRINT 5", b"RUN"), b"\n\r5\n\rOK\n\r>", {10: b"PRINT 5"}),
        ((b"10 PRINT 5",), b"\n\r>", {}),
    ],
)
def test_taking_back_more_than_was_typed_does_harm(
    before: tuple[bytes, ...], said: bytes, held: dict[int, bytes]
) -> None:
    """Two are answered; after a third, CR hangs a board that heard nothing yet, runs the last
    command again, or loses the program if a line was stored last."""
    board = KindBoard("capital")
    board.enter(*before)
    assert board.say(b"\x08" * 5) == b"\x08 \x08\n\r" * 2
    assert board.say(b"\r") == said
    assert board.lines == held
    assert board.say(b"LIST\r", 5.0).endswith(b"OK\n\r>") is bool(before)


# Bytes that one line takes, told by the free memory before and after it was stored.
TOKEN_COSTS = {
    b"REM": 4,
    b"REM hi there": 13,
    b"PRINT": 4,
    b"PRINT 1": 7,
    b"PRINT 40000": 7,
    b'PRINT "AB"': 8,
    b'PRINT "A B"': 9,
    b"X": 6,
    b"X=5": 10,
    b"LET X=5": 11,
    b"LET  x = 5": 11,
    b"LETX=5": 11,
    b"GOTO 1000": 7,
    b"IF X=1 THEN 20": 15,
    b"IF X<>1 THEN 20": 15,
    b"IF X<=1 THEN 20": 15,
    b"FOR I=1 TO 5 STEP 2": 19,
    b"FORI=1TO5": 15,
    b"PRINT X;Y": 11,
    b"PRINT 1:PRINT 2": 12,
    b"RND(5)": 9,
    b"PRINT ABS(X)": 10,
    b"PRINT (1+2)*3": 17,
    b'A$="HI"': 11,
    b"DIM A(3)": 12,
    b"REM don't": 10,
    b"PRINT SIZE": 5,
    b"ON X GOTO 1,2": 15,
    b"IF A>=3 THEN 50": 15,
    b"IF A=>3 THEN 50": 15,
    b"AB=1234": 10,
    b"A=SGN(-1)": 14,
    b"A=B AND C": 14,
    b"A=NOT B": 11,
    b"POKE 1,2": 11,
    b"PRINT LEN(C$)": 10,
    b"IF A=1 THEN B=2 ELSE B=3": 27,
}
READY_COSTS = {
    b"REM": 6,
    b"REM hi there": 15,
    b"PRINT": 6,
    b"PRINT 12": 9,
    b"PRINT 40000": 12,
    b'PRINT "A B"': 12,
    b"X=5": 8,
    b"LET X=5": 10,
    b"LET  x = 5": 13,
    b"LETX=5": 9,
    b"GOTO 1000": 11,
    b"IF X=1 THEN 20": 15,
    b"IF X<>1 THEN 20": 16,
    b"FOR I=1 TO 5 STEP 2": 18,
    b"FORI=1TO5": 11,
    b"PRINT 1:PRINT 2": 12,
    b"RND(5)": 8,
    b"PRINT ABS(X)": 10,
    b"PRINT (1+2)*3": 14,
    b"print 7": 12,
    b"REM don't": 12,
    b"PRINT SIZE": 11,
    b"A=RND(10)+ABS(-3)": 16,
    b"PRINT INT(RND(0)*6)+1": 16,
    b'PRINT MID$(C$,2,1);ASC("A")': 21,
    b"A=ATN(1)": 10,
    b"A=B AND C": 12,
    b"A=FNA(3)": 12,
    b"DEF FNA(X)=X*2": 16,
    b"AB=1234": 12,
    b"PRINT TAB(3);FRE(0)": 14,
    b"IF A=1 THEN B=2 ELSE B=3": 22,
}
CAPITAL_COSTS = {b"PRINT 5": 11, b" REM hello": 13}


@pytest.mark.parametrize(
    ("kind", "costs"),
    [("token", TOKEN_COSTS), ("ready", READY_COSTS), ("capital", CAPITAL_COSTS)],
)
def test_a_line_costs_what_was_measured(kind: str, costs: dict[bytes, int]) -> None:
    """By the board's own report, for each line alone in memory; the ledger agrees."""
    board, rules = KindBoard(kind), find_profile(kind).rules
    empty = board.reported_free()
    for text, cost in costs.items():
        board.enter(b"10 " + text)
        assert empty - board.reported_free() == cost, text
        if not text.startswith(b"ON"):  # a word that the profile of token leaves out
            assert line_cost(Line.from_text(f"10 {text.decode()}"), rules) == cost, text
        board.enter(b"10")
    assert board.reported_free() == empty
