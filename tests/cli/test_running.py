"""run and load --run: shown as it comes, answered from wherever, and how they end."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings

ASKS = ('10 PRINT "NAME"', "20 INPUT A", "30 PRINT", "40 PRINT A*2;")
GAME = (
    '10 PRINT "YOUR GUESS";',
    "20 INPUT G",
    '30 IF G=7 THEN PRINT "RIGHT": END',
    '40 PRINT "NO"',
    "50 GOTO 10",
)
REAL = ("--port", "practice://class")
STOPPED = "It was interrupted. The program is still in the board's memory."


# --- answers -------------------------------------------------------------------------------------


def test_a_person_plays_a_game(hostlink: Callable, listing: Callable, seat: Callable) -> None:
    """On a terminal the question stands in front of what is typed, and nothing stands twice."""
    assert hostlink("load", listing(*GAME)).status == 0
    game = seat("run", *REAL, terminal=True)
    game.until(r"YOUR GUESS\? $")
    game.type("4\n")
    game.until(r"NO\r\nYOUR GUESS\? $")
    game.type("7\n")
    assert game.end() == 0
    assert game.out == "YOUR GUESS? 4\r\nNO\r\nYOUR GUESS? 7\r\nRIGHT\r\n"
    assert game.err == ""


def test_the_terminal_s_own_keys_edit_the_answer(
    hostlink: Callable, listing: Callable, seat: Callable
) -> None:
    """What is rubbed out before Enter never reaches the board (the terminal's erase: DEL)."""
    assert hostlink("load", listing(*GAME)).status == 0
    game = seat("run", *REAL, terminal=True)
    game.until(r"YOUR GUESS\? $")
    game.type("48\x7f\x7f7\n")
    assert game.end() == 0
    assert "NO" not in game.out


def test_the_end_of_input_at_a_terminal_ends_the_run(
    hostlink: Callable, listing: Callable, seat: Callable
) -> None:
    """Ctrl+D at a question: said, interrupted, status 1."""
    assert hostlink("load", listing(*GAME)).status == 0
    game = seat("run", *REAL, terminal=True)
    game.until(r"YOUR GUESS\? $")
    game.type("\x04")
    assert game.end() == 1
    assert 'The program asks "YOUR GUESS?", and there is no more input.' in game.err
    assert STOPPED in game.err
    assert hostlink("save", "GAME").status == 0


def test_load_and_run_can_be_answered_at_once(listing: Callable, seat: Callable) -> None:
    """`load --run` at a terminal: proven first, then the game begins."""
    game = seat("load", listing(*GAME), "--run", *REAL, terminal=True)
    game.until("is on the board, proven", of="err")
    game.until(r"YOUR GUESS\? $")
    game.type("7\n")
    assert game.end() == 0
    assert game.out == "YOUR GUESS? 7\r\nRIGHT\r\n"


def test_a_script_answers_through_a_pipe(
    hostlink: Callable, listing: Callable, seat: Callable
) -> None:
    """The question can be read before the answer is written; the answer stands behind it."""
    assert hostlink("load", listing(*GAME)).status == 0
    game = seat("run", *REAL)
    game.until(r"YOUR GUESS\? $")
    game.type("4\n")
    game.until(r"NO\nYOUR GUESS\? $")
    game.type("7\n")
    assert game.end() == 0
    assert game.out == "YOUR GUESS? 4\nNO\nYOUR GUESS? 7\nRIGHT\n"


def test_a_pipe_and_a_file_answer_alike(hostlink: Callable, listing: Callable, place: Path) -> None:
    """The same transcript from standard input, from --input, and with load --run."""
    name = listing(*ASKS)
    assert hostlink("load", name).status == 0
    (place / "answers.txt").write_text("21\n", encoding="utf-8")
    wanted = "NAME\n? 21\n\n 42\n"
    assert hostlink("run", stdin=b"21\n").out == wanted
    assert hostlink("run", stdin=b"21").out == wanted
    assert hostlink("run", stdin=b"21\r\n").out == wanted
    assert hostlink("run", "--input", "answers.txt", stdin=b"99\n").out == wanted
    assert hostlink("load", name, "--run", stdin=b"21\n").out == wanted


def test_only_what_is_asked_for_is_read(hostlink: Callable, listing: Callable) -> None:
    """What a shell's loop has behind it in the same standard input stays there."""
    import io
    import sys

    assert hostlink("load", listing(*ASKS)).status == 0
    assert hostlink("run", stdin=b"21\nnext\n").status == 0
    assert isinstance(sys.stdin, io.TextIOWrapper)
    assert sys.stdin.buffer.read() == b"next\n"


def test_several_runs_share_standard_input(
    hostlink: Callable, listing: Callable, place: Path
) -> None:
    """Each run of `together` takes its own answers from it."""
    assert hostlink("load", listing(*ASKS)).status == 0
    (place / "twice.txt").write_text("run\nrun\n", encoding="utf-8")
    told = hostlink("together", "twice.txt", stdin=b"1\n2\n")
    assert told.status == 0
    assert told.out == "NAME\n? 1\n\n 2\nNAME\n? 2\n\n 4\n"


def test_answers_that_were_not_asked_for_are_told(
    hostlink: Callable, listing: Callable, place: Path
) -> None:
    """They were not typed at the board's prompt, where a number would delete a line."""
    assert hostlink("load", listing(*ASKS)).status == 0
    (place / "answers.txt").write_text("21\n10\n20\n", encoding="utf-8")
    told = hostlink("run", "--input", "answers.txt")
    assert told.status == 0
    assert "Not asked for: 2 answers." in told.err
    assert hostlink("save").status == 0
    assert len(hostlink("show", "light").out.splitlines()) == 4


def test_a_program_that_asks_without_input_is_stopped(
    hostlink: Callable, listing: Callable, place: Path
) -> None:
    """Standard input is empty: status 1, the question, and what the board holds; not after 60 s."""
    assert hostlink("load", listing(*ASKS)).status == 0
    told = hostlink("run", "-o", "so-far.txt")
    assert told.status == 1
    assert told.out == "NAME\n? \n"
    assert 'The program asks "?", and there is no more input.' in told.err
    assert STOPPED in told.err
    assert "What it printed is in so-far.txt." in told.err
    assert (place / "so-far.txt").read_text(encoding="utf-8") == told.out
    assert hostlink("save").status == 0


def test_a_board_that_takes_the_interrupt_as_text_is_not_called_interrupted(
    hostlink: Callable, machine_at_port: Callable[..., Machine]
) -> None:
    """The prompt does not come back, so what came is told instead."""
    machine_at_port(BoardSettings(interrupt=b"\x04"), program={10: b"INPUT A", 20: b"GOTO 10"})
    told = hostlink("run")
    assert told.status == 1
    assert 'no prompt came; it last sent "?"' in told.err
    assert "It was interrupted" not in told.err


# --- errors of BASIC -----------------------------------------------------------------------------

FAILS = ("10 LET A=0", '20 PRINT "SO FAR"', "30 PRINT 7/A")


def test_an_error_of_basic_is_a_failure(hostlink: Callable, listing: Callable) -> None:
    """Status 1 and the line with its text, by run and by load --run; what was printed is shown."""
    name = listing(*FAILS)
    for words in (("load", name, "--run"), ("run",)):
        told = hostlink(*words)
        assert told.status == 1
        assert told.out == "SO FAR\n! cannot divide by 0 in 30\n"
        assert "stopped with an error in line 30: cannot divide by 0" in told.err
        assert "Line 30 is: 30 PRINT 7/A." in told.err


def test_a_program_that_prints_like_an_error_is_no_failure(
    hostlink: Callable, listing: Callable
) -> None:
    """The board's own words in the middle of the output are the program's."""
    name = listing('10 PRINT "! cannot divide by 0 in 30"', '20 PRINT "DONE"')
    assert hostlink("load", name, "--run").status == 0


# --- JSON ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("program", "stdin", "status", "part"),
    [
        (ASKS, b"21\n", 0, {"output": "NAME\n? 21\n\n 42", "ended": True, "fault": None}),
        (ASKS, b"", 1, {"output": "NAME\n? ", "ended": False, "fault": None}),
        (
            FAILS,
            b"",
            1,
            {
                "ended": True,
                "fault": {"message": "cannot divide by 0", "line": 30, "text": "PRINT 7/A"},
            },
        ),
        (("10 GOTO 10",), b"", 1, {"output": "", "ended": False, "fault": None}),
    ],
)
def test_json_is_one_document_however_it_ends(
    program: tuple[str, ...],
    stdin: bytes,
    status: int,
    part: dict[str, Any],
    hostlink: Callable,
    listing: Callable,
) -> None:
    """Nothing but JSON on stdout: output, end, fault and error; with load --run beside the load."""
    name = listing(*program)
    loaded = hostlink("load", name, "--run", "--json", stdin=stdin)
    ran = hostlink("run", "--json", "--seconds", "60", stdin=stdin)
    for told in (loaded, ran):
        assert told.status == status
        answer = told.json
        assert {key: answer[key] for key in part} == part
        assert (answer["error"] is None) == answer["ended"]
    assert loaded.json["proven"] is True


def test_json_lets_a_person_see_the_question(
    hostlink: Callable, listing: Callable, seat: Callable
) -> None:
    """The question goes to stderr, stdout stays JSON."""
    assert hostlink("load", listing(*ASKS)).status == 0
    game = seat("run", "--json", *REAL, terminal=True)
    game.until(r"\? $", of="err")
    game.type("21\n")
    assert game.end() == 0
    assert json.loads(game.out[game.out.index("{") :])["output"] == "NAME\n? 21\n\n 42"


def test_what_the_board_says_after_a_run_is_no_output(
    hostlink: Callable, listing: Callable
) -> None:
    """The OK of a kind that says so is neither shown nor written; one that is printed is."""
    name = listing("10 PRINT 5", '20 PRINT "OK"', "30 END")
    board = ("--port", "practice://ok?kind=capital&time=virtual", "--profile", "capital")
    assert hostlink("load", name, *board).status == 0
    told = hostlink("run", "-o", "out.txt", *board)
    assert told.out == "5\nOK\n"
    assert Path("out.txt").read_text(encoding="utf-8") == "5\nOK\n"
