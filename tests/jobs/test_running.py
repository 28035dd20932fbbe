"""A run: what is told meanwhile, how it is answered, and the state in which it leaves the board."""

from __future__ import annotations

import dataclasses
import errno
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from hostlink.board.dialogue.reported_errors import ReportedError
from hostlink.errors import (
    ExitStatus,
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    ProgramError,
    RefusedError,
)
from hostlink.jobs.events import InputTyped, RowOpen, RowPrinted
from hostlink.jobs.listing_source import find_material
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.run.answers import Given
from hostlink.jobs.run.memory_of_run import keep_before_run
from hostlink.jobs.run.run_errors import stop
from hostlink.jobs.run.running import Ran, run

ASKS = '10 PRINT "YOUR NUMBER";\n20 INPUT A\n30 PRINT A*2\n40 GOTO 20\n'
STOPPED = "It was interrupted. The program is still in the board's memory."


class Typing:
    """Somebody who types: lines, or None where none has come yet."""

    live = True

    def __init__(self, *lines: str | None) -> None:
        self._lines: Iterator[str | None] = iter(lines)

    def take(self) -> str | None:
        for line in self._lines:
            return line
        raise EOFError


def play(board: Any, text: str, answers: Any = None, **options: Any) -> Ran:
    """Run a program that is in the board's memory."""
    board.load(text)
    with board.session() as session:
        return run(session, answers, **options)


def is_at_prompt(board: Any) -> bool:
    """Whether the board takes a command now."""
    with board.session() as session:
        return "42" in session.dialogue.ask("PRINT 6*7")


def test_rows_and_the_open_row_are_told_as_they_come(table: Callable[..., Any]) -> None:
    """A question is told before it is answered, then the answer, then the row with its echo."""
    board = table()
    ran = play(board, '10 PRINT "HELLO"\n20 INPUT A\n30 PRINT A\n', Given(["21"]))
    assert ran == Ran("HELLO\n? 21\n 21")
    told = [event for event in board.events if isinstance(event, RowPrinted | RowOpen | InputTyped)]
    at = told.index(InputTyped("21"))
    assert told[at - 1] == RowOpen("? ")
    assert RowOpen("? 21") in told[at:]
    assert [event.text for event in told if isinstance(event, RowPrinted)] == [
        "HELLO",
        "? 21",
        " 21",
    ]


def test_answers_that_nobody_asked_for_are_left(table: Callable[..., Any]) -> None:
    """The program ends; what is left of the answers is counted and was not typed."""
    board = table()
    given = Given(["1", "2", "30"])
    play(board, "10 INPUT A\n30 PRINT A\n", given)
    assert given.left == 2
    assert list(board.memory) == [10, 30]


def test_an_error_of_basic_is_found_with_the_line_from_the_host_copy(
    table: Callable[..., Any], archive: Any
) -> None:
    """What was loaded is known, so the line is shown though this board names its number only."""
    board = table()
    text = b'10 PRINT "ON"\n20 LET A=0\n30 PRINT 7/A\n'
    with board.session() as session:
        load(session, archive, find_material("-", archive, stdin=text), LoadOptions())
        ran = run(session)
    assert ran.fault == ReportedError("cannot divide by 0", 30)
    assert ran.line == "PRINT 7/A"
    with pytest.raises(ProgramError) as caught:
        ran.check()
    assert caught.value.status is ExitStatus.REFUSED
    assert caught.value.what == "The program stopped with an error in line 30: cannot divide by 0"
    assert "Line 30 is: 30 PRINT 7/A." in caught.value.kept
    assert "still in the board's memory" in caught.value.kept


def test_a_line_that_is_not_known_is_not_made_up(table: Callable[..., Any]) -> None:
    """A program that was typed at the board itself: the number is told, and no text."""
    board = table()
    ran = play(board, "30 PRINT 7/0\n")
    assert (ran.fault, ran.line) == (ReportedError("cannot divide by 0", 30), "")
    with pytest.raises(ProgramError) as caught:
        ran.check()
    assert "Line 30 is" not in caught.value.kept


def test_a_program_that_prints_like_an_error_ends_well(table: Callable[..., Any]) -> None:
    """The same words, but not the last row before the prompt."""
    board = table()
    ran = play(board, '10 PRINT "! cannot divide by 0 in 30"\n20 PRINT "SAID THE BOARD"\n')
    assert ran.fault is None
    ran.check()


def test_a_program_that_asks_without_input_is_stopped(table: Callable[..., Any]) -> None:
    """Refused with its question, as soon as it has asked; the board is at its prompt."""
    board = table()
    before = board.clock.now()
    with pytest.raises(RefusedError) as caught:
        play(board, ASKS, Given(["1", "2"]))
    assert caught.value.what == 'The program asks "?", and there is no more input.'
    assert caught.value.kept == STOPPED
    assert board.clock.now() - before < 10.0
    assert is_at_prompt(board)
    assert len(board.memory) == 4


@pytest.mark.parametrize(
    ("settings", "talk", "kept"),
    [
        ({}, {}, STOPPED),
        (
            {"interrupt": b"\x04"},
            {},
            'The interrupt was sent, but no prompt came; it last sent "?".',
        ),
        (
            {},
            {"interrupt": b""},
            "No key is known that stops a program on this board. It was left as it is.",
        ),
    ],
)
def test_it_is_only_called_interrupted_when_the_prompt_is_back(
    settings: dict[str, Any], talk: dict[str, Any], kept: str, table: Callable[..., Any]
) -> None:
    """What was seen is said: the prompt, or what the board sent last."""
    board = table(**settings)
    board.load(ASKS)
    with board.session() as session:
        profile = session.profile
        session.use(
            dataclasses.replace(
                session.choice,
                profile=dataclasses.replace(
                    profile, talk=dataclasses.replace(profile.talk, **talk)
                ),
            )
        )
        with pytest.raises(RefusedError) as caught:
            run(session)
    assert caught.value.kept == kept


def test_ctrl_c_says_in_which_state_the_board_is(table: Callable[..., Any]) -> None:
    """The program is interrupted; while it asks, too."""
    board = table()

    def cancel(event: Any) -> None:
        board.cancelled = board.cancelled or event == RowOpen("YOUR NUMBER? ")

    board.on_event = cancel
    with pytest.raises(Interrupted) as caught:
        play(board, ASKS, Typing(*[None] * 1000))
    assert caught.value.what == f"Stopped while the program ran. {STOPPED}"
    assert is_at_prompt(board)


@pytest.mark.parametrize(
    ("trouble", "raised"),
    [
        (BrokenPipeError(), BrokenPipeError),
        (OSError(errno.ENOSPC, "No space left on device"), HostlinkError),
    ],
)
def test_output_that_cannot_be_shown_stops_the_program(
    trouble: OSError, raised: type[Exception], table: Callable[..., Any]
) -> None:
    """Nobody sees what it prints any more; the board is left at its prompt."""
    board = table()

    def gone(event: Any) -> None:
        if isinstance(event, RowPrinted):
            raise trouble

    board.on_event = gone
    with pytest.raises(raised) as caught:
        play(board, '10 PRINT "X"\n20 GOTO 10\n')
    if isinstance(caught.value, HostlinkError):
        assert "could not be written: No space left on device." in caught.value.what
        assert caught.value.kept == STOPPED
    board.on_event = lambda event: None  # noqa: ARG005
    assert is_at_prompt(board)


def test_a_line_that_cannot_be_typed_ends_the_run(table: Callable[..., Any]) -> None:
    """A control character would be obeyed, and one that the board lacks would be another."""
    for line, why in (("1\x03", "control character"), ("€", "U+20AC")):
        board = table()
        with pytest.raises(RefusedError) as caught:
            play(board, "10 INPUT A\n", Given([line]))
        assert why in caught.value.what
        assert caught.value.kept == STOPPED
        assert is_at_prompt(board)


def test_who_types_what_cannot_be_typed_is_told_and_types_again(
    table: Callable[..., Any],
) -> None:
    """An arrow key is no reason to lose a game."""
    board = table()
    ran = play(board, "10 INPUT A\n20 PRINT A\n", Typing("\x1b[A", None, "5"))
    assert ran.output == "? 5\n 5"
    (warned,) = board.said("Warned")
    assert "holds a control character" in warned.text


def test_a_board_that_is_unplugged_ends_the_run(table: Callable[..., Any]) -> None:
    """The link's own error comes, and no claim that the program was interrupted."""
    board = table()

    def unplug(event: Any) -> None:
        board.machine.unplugged = board.machine.unplugged or isinstance(event, RowPrinted)

    board.on_event = unplug
    with pytest.raises(LinkError) as caught:
        play(board, '10 PRINT "X"\n20 GOTO 10\n')
    assert caught.value.reason is LinkReason.GONE
    assert "interrupted" not in str(caught.value)


def test_stopping_a_board_that_is_gone_says_so(table: Callable[..., Any]) -> None:
    """In a sentence, not by an error that hides the first one."""
    board = table()
    with board.session() as session:
        session.attach()
        before = keep_before_run(session)
        board.machine.unplugged = True
        assert "could not be interrupted" in stop(session, before)


def test_a_program_that_takes_too_long_is_stopped(table: Callable[..., Any]) -> None:
    """Running or silent for long, which is said; one that blinks a lamp prints nothing."""
    for text, doing in (
        ('10 PRINT "X"\n20 GOTO 10\n', "was still running"),
        ("10 GOTO 10\n", "may be waiting for input"),
    ):
        board = table()
        with pytest.raises(LinkError) as caught:
            play(board, text, longest_s=4.0)
        assert caught.value.what == f"The program did not end within 4 s; it {doing}."
        assert caught.value.kept == STOPPED
        assert is_at_prompt(board)
