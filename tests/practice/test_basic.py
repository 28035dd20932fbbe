"""The practice board's BASIC: storing lines, listing, running, and what it asks of its machine."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from basic_runs import run_program

from hostlink.errors import RefusedError
from hostlink.practice.basic import Basic
from hostlink.practice.kind import STOPPED, BoardKind, KindStorage
from hostlink.practice.ops import Answer, Chore, Firmware, Op, ReadLine, Send, Work

Typed = Callable[..., str]


def operations(firmware: Firmware, answers: Callable[[Op, int], Answer]) -> list[Op]:
    """What the firmware asked for, each answered by `answers(operation, how many came before)`."""
    asked: list[Op] = []
    answer: Answer = None
    try:
        while True:
            op = firmware.send(answer)
            answer = answers(op, len(asked))
            asked.append(op)
    except StopIteration:
        return asked


def calm(_: Op, __: int) -> bool:
    """Nothing interrupts."""
    return False


def test_a_stored_line_is_work_and_says_nothing() -> None:
    """Storing asks for the time to store one line, and sends nothing."""
    assert operations(Basic().enter(b"10 PRINT 1"), calm) == [Work(Chore.STORE)]


def test_a_refused_line_is_work_before_it_is_told() -> None:
    """A line that does not fit costs the storing time too; the error follows."""
    asked = operations(Basic(program_bytes=5).enter(b"10 PRINT 1"), calm)
    assert asked[0] == Work(Chore.STORE)
    assert asked[1:] == [Send(b"! memory full, line 10 needs 5 more\r\n")]


def test_a_direct_line_is_taken_apart_before_it_runs() -> None:
    """A direct command costs its own kind of work, then one statement, then the output."""
    assert operations(Basic().enter(b"PRINT 1"), calm) == [
        Work(Chore.DIRECT),
        Work(Chore.STATEMENT),
        Send(b" 1\r\n"),
    ]


@pytest.mark.parametrize("blank", [b"", b"   ", b"\t"])
def test_a_blank_line_does_nothing(blank: bytes) -> None:
    """Only the prompt answers a blank line, and the machine shows that."""
    assert operations(Basic().enter(blank), calm) == []


def test_lines_are_kept_in_order_whatever_order_they_came_in(typed: Typed) -> None:
    """A line typed later stands where its number belongs; the same number replaces."""
    board = Basic()
    assert typed(board, "30 END", "10 REM a", "20 REM b", "10 REM c") == ""
    assert list(board.lines.items()) == [(10, b"REM c"), (20, b"REM b"), (30, b"END")]


def test_list_shows_one_blank_after_the_number_and_the_text_as_typed(typed: Typed) -> None:
    """Blanks before the text are dropped, all others and the case are kept."""
    board = Basic()
    typed(board, '  0010     print  "x" ;', "20a=1")
    assert typed(board, "LIST") == '10 print  "x" ;\n20 a=1\n'


@pytest.mark.parametrize(
    ("command", "numbers"),
    [
        ("LIST", [10, 20, 30]),
        ("LIST 20", [20, 30]),
        ("LIST 11,29", [20]),
        ("LIST 20,20", [20]),
        ("LIST 31", []),
        ("list 10 , 10+10", [10, 20]),
    ],
)
def test_list_takes_a_first_and_a_last_number(
    typed: Typed, command: str, numbers: list[int]
) -> None:
    """LIST alone shows all; one number: from there on; two: from one to the other."""
    board = Basic()
    typed(board, "10 END", "20 END", "30 END")
    assert typed(board, command) == "".join(f"{number} END\n" for number in numbers)


def test_list_prepares_and_sends_line_by_line(typed: Typed) -> None:
    """Each listed line is work of its own, so that a machine can time and stop it."""
    board = Basic()
    typed(board, "10 END", "20 END")
    line = Work(Chore.LIST_LINE)
    asked = operations(board.enter(b"LIST"), calm)
    assert asked[2:] == [line, Send(b"10 END\r\n"), line, Send(b"20 END\r\n")]


def test_free_memory_is_the_limit_less_what_the_lines_take(typed: Typed) -> None:
    """`PRINT ROOM()` prints one number, which goes down and up by the cost of lines."""
    board = Basic()
    assert typed(board, "PRINT ROOM()").strip() == "999"
    typed(board, "10 PRINT 1", "20 END")
    assert typed(board, "PRINT ROOM()").strip() == str(999 - (2 + 7 + 1) - (2 + 3 + 1))
    typed(board, "10 END", "20")
    assert typed(board, "PRINT ROOM()").strip() == str(999 - 6)


def test_memory_can_be_filled_to_the_last_byte_and_not_beyond(typed: Typed) -> None:
    """A line that leaves 0 free is taken; one byte more is refused and the old line stays."""
    board = Basic(program_bytes=20)
    assert typed(board, "10 REM 4567890123456") == ""
    assert board.free() == 0
    assert typed(board, "10 REM 45678901234567") == "! memory full, line 10 needs 1 more\n"
    assert typed(board, "20 END").startswith("! memory full")
    assert board.lines == {10: b"REM 4567890123456"}


@pytest.mark.parametrize("number", ["0", "32768", "99999", "1" * 5000])
def test_a_number_out_of_range_is_refused(typed: Typed, number: str) -> None:
    """Line numbers run from 1 to 32767."""
    board = Basic()
    assert typed(board, f"{number} END") == "! line numbers are 1 to 32767\n"
    assert board.lines == {}
    assert typed(board, "1 END", "32767 END") == ""


def test_new_forgets_program_and_variables(typed: Typed) -> None:
    """NEW clears both, and ends a program that says it."""
    board = Basic()
    assert typed(board, "10 A=5: NEW: PRINT 1", "RUN", "LIST", "PRINT A") == " 0\n"


def test_run_starts_with_all_variables_zero_and_goto_keeps_them(typed: Typed) -> None:
    """RUN clears the variables; a direct GOTO goes on with them."""
    board = Basic()
    typed(board, "10 PRINT A", "A=7")
    assert typed(board, "GOTO 10") == " 7\n"
    assert typed(board, "RUN", "PRINT A") == " 0\n 0\n"


@pytest.mark.parametrize(
    ("statement", "output"),
    [
        ('PRINT "A"', "A\n"),
        ("PRINT 1;2;-3", " 1 2 -3\n"),
        ("PRINT 1,2", " 1" + " " * 6 + " 2\n"),
        ('PRINT "12345678","X"', "12345678        X\n"),
        ('PRINT "A";: PRINT "B"', "AB\n"),
        ('PRINT "A",: PRINT "B"', "A       B\n"),
        ('PRINT "A";', "A\n"),
        ("PRINT", "\n"),
        ("PRINT ;", ""),
        ('PRINT "A:B": PRINT 2', "A:B\n 2\n"),
        ("print abs(-5);Abs(5)", " 5 5\n"),
        ("A=3:B=A*A:PRINT B", " 9\n"),
        ("PRINT 7/2;-7/2;7/-2", " 3 -3 -3\n"),
        ("PRINT -32768;32767", " -32768 32767\n"),
        ("PRINT --5;-+5", " 5 -5\n"),
        ("IF 1=1 PRINT 4", " 4\n"),
        ("IF 1=2 PRINT 4: PRINT 5", ""),
        ("REM : PRINT 5", ""),
        ("FORI=1TO3:PRINTI;:NEXTI:PRINT", " 1 2 3\n"),
        ("FOR I=1 TO 2:FOR J=1 TO 2:PRINT I*J;:NEXT:NEXT", " 1 2 2 4\n"),
        ("FOR I=32766 TO 32767: PRINT I;: NEXT I: PRINT I", " 32766 32767 32767\n"),
    ],
)
def test_a_direct_line_prints_before_the_prompt(typed: Typed, statement: str, output: str) -> None:
    """One direct line: what it prints, its last line always ended before the prompt."""
    assert typed(Basic(), statement) == output


def test_the_same_loop_entered_again_does_not_pile_up() -> None:
    """Leaving a FOR by GOTO and entering it again is allowed any number of times."""
    listing = "10 A=A+1\n20 FOR I=1 TO 9\n30 IF A<50 THEN 10\n40 NEXT I\n50 PRINT A;I\n"
    assert run_program(listing) == " 50 10\n"


def test_a_subroutine_has_loops_of_its_own() -> None:
    """A loop over the same variable inside a subroutine leaves the caller's loop open."""
    listing = (
        "10 FOR I=1 TO 2\n20 GOSUB 100\n30 NEXT I\n40 END\n"
        "100 FOR J=1 TO 9\n110 FOR K=1 TO 9\n120 PRINT I\n130 RETURN\n"
    )
    assert run_program(listing) == " 1\n 2\n"


def test_random_numbers_cover_their_range_and_repeat_by_seed() -> None:
    """RND(6) gives 1 to 6, each about as often, the same each time for one seed."""
    listing = "10 FOR I=1 TO 600\n20 PRINT RND(6)\n30 NEXT I\n"
    rolls = run_program(listing, seed=3).split()
    assert set(rolls) == set("123456")
    assert all(70 <= rolls.count(face) <= 130 for face in "123456")
    assert run_program(listing, seed=3).split() == rolls
    assert run_program(listing, seed=4).split() != rolls


def test_input_asks_until_it_has_numbers(typed: Typed) -> None:
    """What is no number is told and asked for again; the variables then hold the answer."""
    board = Basic()
    typed(board, "10 INPUT A,B", "20 PRINT A;B")
    output = typed(board, "RUN", inputs=["5", "x,1", "1,2,3", "40000,1", " - 5 , +6 "])
    assert output.splitlines() == [
        "? 5",
        "! wants 2 numbers",
        "? x,1",
        "! wants 2 numbers",
        "? 1,2,3",
        "! wants 2 numbers",
        "? 40000,1",
        "! wants 2 numbers",
        "?  - 5 , +6 ",
        " -5 6",
    ]


def test_input_takes_an_empty_answer_as_zero(typed: Typed) -> None:
    """A bare line end answers INPUT with 0."""
    board = Basic()
    assert typed(board, "A=9", "INPUT A", "PRINT A", inputs=[""]) == "? \n 0\n"


def test_a_statement_that_is_interrupted_stops_the_program(typed: Typed) -> None:
    """An interrupt byte stops the program with the board's own words; variables are kept."""
    board = Basic()
    typed(board, "10 A=A+1", '20 PRINT "x";', "30 GOTO 10")
    statement = Work(Chore.STATEMENT)
    asked = operations(board.enter(b"RUN"), lambda op, before: op == statement and before > 20)
    assert asked[-2:] == [statement, Send(b"\r\n* stopped in 30\r\n")]
    assert typed(board, "PRINT A") == " 5\n"


@pytest.mark.parametrize("line", ["PRINT 1", "LIST", "RUN"])
def test_a_direct_command_can_be_interrupted_before_it_begins(typed: Typed, line: str) -> None:
    """An interrupt while the command is taken apart drops the command."""
    board = Basic()
    typed(board, "10 PRINT 2")
    asked = operations(board.enter(line.encode()), lambda *_: True)
    assert asked == [Work(Chore.DIRECT), Send(f"{STOPPED}\r\n".encode())]


def test_list_and_input_can_be_interrupted(typed: Typed) -> None:
    """LIST stops between lines, INPUT where it waits."""
    board = Basic()
    typed(board, "10 INPUT A", "20 END")
    asked = operations(
        board.enter(b"LIST"), lambda op, before: op == Work(Chore.LIST_LINE) and before > 3
    )
    assert [op.data for op in asked if isinstance(op, Send)] == [
        b"10 INPUT A\r\n",
        b"* stopped\r\n",
    ]
    asked = operations(
        board.enter(b"RUN"), lambda op, _: None if isinstance(op, ReadLine) else False
    )
    assert asked[-2:] == [ReadLine(b"? "), Send(b"* stopped in 10\r\n")]


def test_letters_are_kept_or_folded_as_the_board_is_made(typed: Typed) -> None:
    """A folding board stores capitals, except in quotes and remarks."""
    lines = ('10 print "Abc";a', "20 if a=1 then rem Abc", '30 print "open')
    kept, folding = Basic(), Basic(BoardKind(storage=KindStorage(case="statements")))
    typed(kept, *lines)
    typed(folding, *lines)
    assert kept.lines[10] == b'print "Abc";a'
    assert list(folding.lines.values()) == [
        b'PRINT "Abc";A',
        b"IF A=1 THEN rem Abc",
        b'PRINT "open',
    ]


def test_power_on_forgets_all_but_the_eeprom(typed: Typed) -> None:
    """Program, variables and random numbers start afresh; stored programs stay."""
    board = Basic()
    first = typed(board, "10 PRINT RND(999)", "STOW DICE", "A=5", "RUN")
    board.power_on()
    assert board.lines == {}
    assert board.free() == 999
    assert typed(board, "PRINT A") == " 0\n"
    assert typed(board, "FETCH DICE", "RUN") == first


def test_the_banner_says_how_much_room_there_is() -> None:
    """It is a row of its own, with an empty one behind it."""
    said = Basic(program_bytes=512).banner()
    assert said == b"\r\npractice board, 512 bytes for a program\r\n\r\n"


def test_all_that_a_board_holds_survives_as_json(typed: Typed) -> None:
    """to_state goes through JSON and back into another board of that size."""
    board, other = Basic(), Basic()
    typed(board, '20 PRINT "caf\xe9"', "10 END", "STOW A1", "A=5:PRINT RND(9)", "30 END")
    other.from_state(json.loads(json.dumps(board.to_state())))
    assert other.to_state() == board.to_state()
    assert list(other.lines.items()) == list(board.lines.items())
    assert other.eeprom == board.eeprom
    assert other.free() == board.free()
    ask = ("PRINT A;RND(9999)", "LIST", "SHELF")
    assert typed(other, *ask) == typed(board, *ask)


@pytest.mark.parametrize(
    "damage",
    [
        {"lines": {"0": "END"}},
        {"lines": {"x": "END"}},
        {"lines": {"10": 5}},
        {"lines": {"10": "\u20ac"}},
        {"lines": {"10": "REM" + "x" * 999}},
        {"lines": []},
        {"eeprom": {"no name": {}}},
        {"eeprom": {"A": {"10": "x" * 1025}}},
        {"variables": [0]},
        {"variables": [99999] * 26},
        {"chance": None},
        {"chance": float("inf")},  # as JSON reads 1e999
    ],
)
def test_a_damaged_state_is_refused_and_changes_nothing(
    typed: Typed, damage: dict[str, object]
) -> None:
    """What no board could hold is refused with one sentence; the board keeps what it had."""
    board = Basic()
    typed(board, "10 END", "STOW KEEP")
    before = board.to_state()
    with pytest.raises(RefusedError, match="cannot be read back"):
        board.from_state({**before, **damage})
    assert board.to_state() == before


def test_a_program_without_an_end_is_told() -> None:
    """The driver gives up after its limit, and says which limit that was."""
    with pytest.raises(RefusedError, match="did not end within 500 statements"):
        run_program("10 GOTO 10", max_statements=500)


def test_the_driver_stops_a_program_that_asks_for_more_than_it_is_given() -> None:
    """When the inputs are used up, INPUT is interrupted."""
    assert run_program("10 INPUT A\n20 GOTO 10", ["1"]) == "? 1\n? \n* stopped in 10\n"
