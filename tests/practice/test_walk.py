"""A program run statement by statement on the machine of the practice board."""

from __future__ import annotations

from dataclasses import replace

import pytest
from basic_runs import run_program

from hostlink.errors import RefusedError
from hostlink.practice.kind_file import find_kind, kind_names
from hostlink.practice.walk import MOST_OUTPUT, Walk
from hostlink.shipped import library_folder

ASKING = """10 FOR I=1 TO 2
20 INPUT N
30 PRINT I, N+RND(100)
40 NEXT I
50 GOSUB 70
60 END
70 PRINT "DONE": PRINT "INDEED"
80 RETURN
"""


def step_line(one: Walk) -> bool:
    """Run the rest of the line; False if there is no further one to run now."""
    began = one.began
    while one.step():
        if one.began != began:
            return True
    return False


def walk(text: str, *inputs: str, kind: str = "practice") -> Walk:
    """A program on a board of a kind, before its first statement."""
    return Walk(text, find_kind(kind), inputs)


@pytest.mark.parametrize("name", ["tide", "primes", "carpet", "sine"])
def test_it_prints_what_a_run_on_the_board_prints(name: str) -> None:
    """Whole programs, against the same interpreter driven another way."""
    text = (library_folder() / f"{name}.bas").read_text(encoding="ascii")
    one = walk(text)
    assert one.run() == "end"
    assert one.output == run_program(text)


@pytest.mark.parametrize("kind", kind_names())
def test_every_kind_runs_a_program_and_keeps_its_own_words_out(kind: str) -> None:
    """An OK behind the program is the board's, and not printed by it."""
    one = walk('10 PRINT "A"\n20 LET B=1\n', kind=kind)
    assert one.run() == "end"
    assert one.output == "A\n"
    assert one.statements == 2


def test_each_line_is_reached_in_turn_and_counted() -> None:
    """A line counts once however many statements it has, and again when it is jumped to."""
    one = walk("10 FOR I=1 TO 3: PRINT I: NEXT I\n20 IF I>9 THEN END\n30 LET I=I+3\n40 GOTO 20\n")
    reached = [one.line]
    while step_line(one):
        reached.append(one.line)
    assert reached == [10, 20, 30, 40, 20, 30, 40, 20]
    assert one.counts == {10: 1, 20: 3, 30: 2, 40: 2}
    assert one.ended == "end"
    assert one.line is None


def test_an_answer_can_come_late() -> None:
    """Where a program asks and no answer is left it waits, and goes on with one."""
    one = walk(ASKING, "1")
    assert one.run() == "input"
    assert (one.line, one.question, one.state.variables["I"]) == (20, "? ", 2)
    one.answer("2")
    assert one.run() == "end"
    whole = walk(ASKING, "1", "2")
    assert whole.run() == "end"
    assert (one.output, one.statements) == (whole.output, whole.statements)


def test_a_step_back_is_the_run_as_it_was() -> None:
    """At each place of a run with questions and random numbers: same line, output, variables."""
    one = walk(ASKING, "1", "2")
    seen = []
    while one.ended is None:
        seen.append((one.line, one.statements, one.output, dict(one.state.variables)))
        step_line(one)
    for was in reversed(seen):
        one = one.back()
        assert (one.line, one.statements, one.output, one.state.variables) == was
    assert one.back().statements == 0


def test_a_step_back_leaves_what_pins_were_when_they_were_read() -> None:
    """A pin that was switched behind a statement is not yet switched when that is run again."""
    one = walk("10 LET A=PIN(2)\n20 LET B=LEVEL(0)\n30 GOTO 10\n")
    seen = []
    for value in range(12):
        seen.append((one.line, one.statements, dict(one.state.variables)))
        step_line(one)
        one.connect("2" if value % 2 else "ADC0", value % 4 // 2 or value)
    for was in reversed(seen):
        one = one.back()
        assert (one.line, one.statements, one.state.variables) == was


def test_behind_a_step_back_a_question_is_asked_again() -> None:
    """The answer from then is forgotten; those to earlier questions, and the first inputs, stay."""
    one = walk("10 INPUT A\n20 INPUT B\n30 INPUT C\n", "1")
    assert one.run() == "input"
    for answer in ("2", "no number"):
        one.answer(answer)
        assert one.run() == "input"
    assert one.line == 30
    one = one.back()
    assert (one.line, one.answers) == (30, ["1", "2"])
    one = one.back().back()
    assert (one.line, one.answers) == (10, ["1"])
    assert one.run() == "input"
    one.answer("5")
    assert (one.run(), one.line, one.output) == ("input", 30, "? 1\n? 5\n")


def test_a_step_back_inside_a_line_goes_to_its_beginning() -> None:
    """So that the second statement of a line can be seen again with the first."""
    one = walk("10 LET A=1\n20 LET A=2: LET A=3: LET A=4\n")
    for _ in range(3):
        one.step()
    assert one.line == 20
    back = one.back()
    assert (back.line, back.state.variables["A"]) == (20, 1)


def test_a_step_back_shows_answers_in_the_same_way() -> None:
    """What is printed of a question and its answer is the caller's choice, also after a step."""
    kind = find_kind("practice")
    one = Walk("10 INPUT A\n20 END\n30 END\n", kind, ["1"], shown=lambda _, line: line + b"!")
    assert (one.run(), one.output, one.back().output) == ("end", "1!", "1!")


def test_a_kind_names_its_own_limit_of_open_loops() -> None:
    """The error gives the limit of the board, not that of the practice board."""
    kind = find_kind("practice")
    kind = replace(kind, language=replace(kind.language, loops=2))
    one = Walk("10 FOR A=1 TO 1\n20 FOR B=1 TO 1\n30 FOR C=1 TO 1\n", kind)
    assert (one.run(), one.error) == ("error", "! more than 2 FOR open in 30")


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("10 PRINT TAB(1E30);1\n", "Function call Error in line 10"),
        ("10 PRINT TAB(256);1\n", "Function call Error in line 10"),
        ("10 DEF FNA(X)=FNA(X)\n20 PRINT FNA(1)\n", "Out of memory Error in line 20"),
        ('10 A$="A"\n20 A$=A$+A$\n30 GOTO 20\n', "String too long Error in line 20"),
        ('10 A$=""\n20 FOR I=1 TO 255\n30 A$=A$+"9"\n40 NEXT\n50 PRINT VAL(A$)\n',
         "Overflow Error in line 50"),
        ("10 PRINT 1E39\n", "Overflow Error in line 10"),
    ],
)  # fmt: skip
def test_what_is_too_large_is_an_error_of_the_board(text: str, error: str) -> None:
    """On a large BASIC: neither the computer's memory nor its stack is what ends a program."""
    one = walk(text, kind="ready")
    assert (one.run(), one.error) == ("error", error)


def test_it_ends_within_what_it_is_given() -> None:
    """Statements, seconds of the board's time, and bytes of output are bounded."""
    one = walk("10 PRINT 1234567: GOTO 10\n".replace("1234567", '"' + "A" * 50 + '"'))
    assert one.run(100) == "statements"
    assert one.statements == 100
    assert one.run(10**9, seconds=one.seconds + 0.1) == "seconds"
    assert one.seconds == pytest.approx(0.15, abs=0.01)  # 0.5 ms a statement by its settings
    assert not one.cut
    one.run(60_000)
    assert one.cut
    assert len(one.output) <= MOST_OUTPUT


def test_an_error_names_its_line() -> None:
    """In the board's own words, with the output before it."""
    one = walk("10 PRINT 1\n20 PRINT 1/0\n", kind="capital")
    assert one.run() == "error"
    assert one.board.failed_line == 20
    assert "What? 20 PRINT 1/0" in one.error
    assert one.output.startswith("1\n")


def test_a_line_that_the_board_refuses_is_told() -> None:
    """A listing that does not fit is no run."""
    with pytest.raises(RefusedError, match="memory full"):
        walk("".join(f'{n} PRINT "{"A" * 50}"\n' for n in range(10, 400, 10)))


def test_a_row_without_a_number_is_not_run() -> None:
    """A RUN at the end of a file would run the program twice, a GOTO without end."""
    one = walk('NEW\n10 PRINT "A"\n20 IF B=0 THEN END\n30 GOTO 10\n\nGOTO 10\nRUN\n')
    assert one.run() == "end"
    assert one.output == "A\n"
