"""The kinds capital, token and ready run the language that boards of their kinds have.

Source of every row: lines typed as direct commands at real interpreters, see the table of kinds.
Left out is what the practice board does not have: powers on the kind token. Blanks
between numbers are compared as blanks, not by how many there are.
"""

from __future__ import annotations

import dataclasses
import json

import pytest
from basic_runs import drive
from practice_run import outcome

from hostlink.board.profile.file import find_profile
from hostlink.dialect import Dialect
from hostlink.errors import RefusedError
from hostlink.practice.basic import Basic
from hostlink.practice.kind_file import find_kind

KINDS = ("capital", "token", "ready")
SYNTAX = "Syntax Error"
# What is typed, and what came back from each kind; None where it is not compared.
ROWS: list[tuple[str, str | None, str | None, str | None]] = [
    ("IF 1=1 PRINT 5", "5", "5", SYNTAX),
    ("IF 1=1 THEN PRINT 5", "What?", "5", "5"),
    ("PRINT 1;2", "1What?", "12", "1 2"),
    ("PRINT 1,2", "12", "1 2", "1 2"),
    ('PRINT "A";', "A", "A", "A"),
    ("PRINT 'A'", "A", SYNTAX, SYNTAX),
    ("PRINT 7/2", "3", "3", "3.5"),
    ("PRINT -7/2", "-3", "-3", "-3.5"),
    ("PRINT 30000+30000", "-5536", "-5536", "60000"),
    ("PRINT 2=2", "1", "-1", "-1"),
    ("PRINT 2=3", "0", "0", "0"),
    ("PRINT 2>=2", "1", "-1", "-1"),
    ("PRINT 2=>2", None, "-1", None),
    ("? 3", "3", SYNTAX, "3"),
    ("A=4: PRINT A", "4", "4", "4"),
    ("PRINT 1:PRINT 2", "1 2", "1 2", "1 2"),
    ("FOR I=1 TO 2:PRINT I:NEXT I", "How?", "1 2", "1 2"),
    ('INPUT "Q",A', "What?", "Q7", SYNTAX),
    ("LET X1=2:PRINT X1;X", "What?", "20", "2 0"),
    ("AB=5:PRINT AB;A", "What?", "50", "5 0"),
    ("FOR I=1 TO 0:PRINT 8:NEXT I:PRINT 9", "How?", "9", "8 9"),
    ("FOR I=1 TO 0:FOR J=1 TO 2:NEXT:PRINT 8:NEXT:PRINT I", "How?", "1", None),
    ('LET C$="HI":PRINT C$;LEN(C$)', "What?", "HI2", "HI 2"),
    ('C$="HI":IF C$="HI" THEN PRINT 5', "What?", "5", "5"),
    ("PRINT 1=1 AND 2=2", "What?", "-1", "-1"),
    ("PRINT 2^3", None, None, "8"),
    ("PRINT SQR(16)", "What?", "4", "4"),
    ("DIM Z(3):Z(3)=7:PRINT Z(3)", "What?", "7", "7"),
    ("CHR$(65)", "What?", None, None),
]


def answer(name: str, typed: str, inputs: tuple[str, ...] = ("7",)) -> str:
    """What a board of a kind sends to one direct line, without its OK, runs of blanks as one."""
    kind = find_kind(name)
    board = Basic(kind)
    board.answered = True
    done = kind.messages.done.format(end=kind.settings.reply_end.decode())
    said = drive(board.enter(typed.encode()), inputs).replace(done or "\0", "")
    return " ".join(said.replace("Ready", "").split())


# The same for the kind ready alone, blanks as they came: floating point and text.
READY_ROWS: list[tuple[str, str]] = [
    ("PRINT 1;2;-3", " 1 2-3"),
    ("PRINT 2/3;1E-5;12345678;0.1+0.2", " .666667 1E-05 1.23457E+07 .3"),
    ("PRINT .01;.001;-0.5;999999;9999999", " .01 1E-03-.5 999999 1E+07"),
    ("PRINT 1/3,123456,1E10", " .333333       123456        1E+10"),
    ("PRINT INT(-3.5);SGN(-2);-(7/2);1/7*7", "-4-1-3.5 1"),
    ("PRINT 32767*32767;-2^2;.5+1.25E1", " 1.07368E+09-4 13"),
    ('PRINT 1=1 AND 2=2;"B">"A";NOT 0', "-1-1-1"),
    ('PRINT "A"+"B":A$="HI":PRINT A$;LEN(A$);MID$(A$,2,1)', "AB\r\nHI 2I"),
    ('PRINT STR$(3);VAL("3.5");ASC("A");CHR$(66);LEFT$("ABC",2)', " 3 3.5 65BAB"),
    ("LET A1=2:PRINT A1;A", " 2 0"),
    ('A$="X":IF A$="X" THEN PRINT "SAME"', "SAME"),
    ("FOR I=1 TO 2 STEP .5:PRINT I;:NEXT I", " 1 1.5 2"),
    ("ON 1+1 GOTO 100", ""),
    ("ON 1-2 GOTO 100", "\r\nFunction call Error"),
]
READY_PROGRAM = """10 DEF FNQ(X)=SGN(X)*INT(ABS(X))
20 PRINT FNQ(-7/2);FNQ(7/2)
30 D=2:ON D GOSUB 100,200
40 ON D+5 GOSUB 100,200
50 PRINT "X"
60 GOTO 50+50
100 PRINT "ONE":RETURN
200 PRINT "TWO":RETURN
"""


@pytest.mark.parametrize(("typed", "said"), READY_ROWS)
def test_floating_point_and_text_are_shown_as_measured(typed: str, said: str) -> None:
    """Six digits, an exponent from a million on and below a hundredth, no zero before a point."""
    board = Basic(find_kind("ready"))
    board.answered = True
    assert drive(board.enter(typed.encode())).removesuffix("\r\nReady\r\n").rstrip() == said


def test_a_program_of_the_kind_ready_jumps_by_a_list() -> None:
    """ON goes on where no line is meant, and an expression is no line number."""
    board = Basic(find_kind("ready"))
    board.answered = True
    for row in READY_PROGRAM.splitlines():
        drive(board.enter(row.encode()))
    said = drive(board.enter(b"RUN")).split("\r\n")
    assert said[:3] == ["-3 3", "TWO", "X"]
    assert said[4].endswith("Error in line 60")


def test_a_seed_other_than_zero_begins_the_random_numbers_anew() -> None:
    """RND(0) is the next fraction; RND(1) gave the same each time on the measured board."""
    board = Basic(find_kind("ready"))
    board.answered = True
    said = drive(
        board.enter(b"FOR I=1 TO 3:PRINT RND(1);:NEXT I:FOR I=1 TO 9:PRINT RND(0);:NEXT I")
    )
    shown = said.split("Ready")[0].split()
    assert len(set(shown[:3])) == 1
    assert len(set(shown[3:])) == 9
    assert all(0 <= float(each) < 1 for each in shown)


def test_fractions_and_text_are_kept_and_an_older_state_is_read() -> None:
    """Variables come back by their names; a state of one letter a name has the others empty."""
    board, again, older = (Basic(find_kind("ready")) for _ in range(3))
    board.answered = True
    drive(board.enter(b'A=1/8:B1=2:C$="TEA"'))
    kept = json.loads(json.dumps(board.to_state()))
    again.from_state(kept)
    assert drive(again.enter(b"PRINT A;B1;C$")).startswith(" .125 2TEA\r\n")
    older.from_state({**kept, "variables": [0.5, *[0] * 25]})
    assert drive(older.enter(b"PRINT A;B1;C$")).startswith(" .5 0\r\n")
    with pytest.raises(RefusedError):
        older.from_state({**kept, "variables": [1]})


CASES = [
    pytest.param(kind, row[0], said, id=f"{kind}: {row[0]}")
    for row in ROWS
    for kind, said in zip(KINDS, row[1:], strict=True)
    if said is not None
]


@pytest.mark.parametrize(("kind", "typed", "said"), CASES)
def test_a_direct_line_has_the_measured_answer(kind: str, typed: str, said: str) -> None:
    """Each form is taken or refused as on the real boards, with the error words of the kind."""
    assert answer(kind, typed) == said


def test_the_place_of_a_missing_then_is_marked() -> None:
    """A kind without THEN stops at its second letter, as the real board showed."""
    board = Basic(find_kind("capital"))
    drive(board.enter(b"210 IF T<1440 THEN 240"))
    assert drive(board.enter(b"RUN")).startswith("What? 210 IF T<1440 T^EN 240")


@pytest.mark.parametrize(("kind", "said"), [("capital", "AB C D"), ("token", "A B C D")])
def test_a_bare_print_at_the_end_of_a_line(kind: str, said: str) -> None:
    """One measured kind shows nothing for it, and ends the row where more stands behind it."""
    board = Basic(find_kind(kind))
    rows = (b'10 PRINT "A";', b"20 PRINT", b'30 PRINT "B";:PRINT:PRINT "C"', b'40 PRINT "D"')
    for line in rows:
        drive(board.enter(line))
    assert drive(board.enter(b"RUN")).replace("OK", "").replace(">", "").split() == said.split()


@pytest.mark.parametrize("sign", [">=", "=>"])
def test_at_least_is_listed_with_one_sign(sign: str) -> None:
    """The measured board with tokens takes both and lists one."""
    board = Basic(find_kind("token"))
    drive(board.enter(f"10 IF A{sign}1 PRINT 5".encode()))
    assert "=>1" in drive(board.enter(b"LIST")).replace(" ", "")


@pytest.mark.parametrize(
    ("kind", "answers", "said"),
    [
        ("practice", ("1,2",), "1 2"),
        ("capital", ("1", "2"), "What?"),
        ("token", ("1", "2"), "12"),
        ("ready", ("1,2",), "1 2"),
    ],
)
def test_several_variables_in_input(kind: str, answers: tuple[str, ...], said: str) -> None:
    """Numbers in one row, a row for each, or one variable only, as the real boards took them."""
    last = answer(kind, "INPUT A,B:PRINT A;:PRINT B", answers).rpartition(answers[-1] + " ")[2]
    assert last.split(">")[0].split() == said.split()


@pytest.mark.parametrize(("kind", "least"), [("practice", 1), ("capital", 0), ("token", 0)])
def test_random_numbers_begin_where_the_kind_says(kind: str, least: int) -> None:
    """RND(3) gives three numbers: below 3 on the measured kinds, from 1 on the practice board."""
    board = Basic(find_kind(kind))
    said = {drive(board.enter(b"PRINT RND(3)")).split()[0] for _ in range(60)}
    assert said == {str(least + more) for more in range(3)}


FORMS = tuple(each.name for each in dataclasses.fields(Dialect))


@pytest.mark.parametrize("kind", ["practice", *KINDS])
def test_the_profile_of_a_kind_states_the_same_forms(kind: str) -> None:
    """A listing is adapted by the profile and run on the kind, so both must say the same."""
    language, own = find_profile(kind).rules.language, find_kind(kind).language
    differing = {name for name in FORMS if getattr(language, name) != getattr(own, name)}
    assert differing == set()


@pytest.mark.parametrize(
    ("kind", "program", "said"),
    [
        ("capital", "10 GOTO 20:PRINT 1\n20 PRINT 2\n", "How?"),
        ("capital", "10 GOSUB 20:PRINT 1\n20 PRINT 2:RETURN\n", "How?"),
        ("capital", "10 END:PRINT 6\n", r"What\? 10 END^PRINT 6"),
        ("capital", "10 FOR I=1 TO 2\n20 NEXT\n", "How?"),
        ("token", "10 CNT=5\n", "10: Syntax Error"),
        ("token", "10 AB1=5\n", "10: Syntax Error"),
        ("ready", "10 TOTAL=0\n", "Syntax Error in line 10"),
    ],
)
def test_a_program_stops_where_a_real_board_stops_it(kind: str, program: str, said: str) -> None:
    """Nothing stands behind some statements; names are short, and no keyword begins one."""
    with pytest.raises(RefusedError) as caught:
        outcome(program, kind=find_kind(kind))
    assert said.replace("\\", "") in caught.value.what


@pytest.mark.parametrize("condition", ["IF86=86", "IF0=0*A", "IFA=0"])
def test_a_keyword_needs_no_blank_behind_it(condition: str) -> None:
    """IF is no part of a name, though names have two characters and LET may be left out."""
    assert outcome(f"10 {condition}THENPRINT 4\n", kind=find_kind("ready")).output == " 4\n"
