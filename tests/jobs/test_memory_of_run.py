"""A program that clears memory when it runs is kept first, and where it is then is told truly."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.errors import LinkError, NotKnownError
from hostlink.jobs.console import Console
from hostlink.jobs.events import RowPrinted
from hostlink.jobs.run.answers import Given
from hostlink.jobs.run.running import run

CLEARS = '10 PRINT "BYE"\n20 NEW\n'
OTHER = "10 PRINT 7\n"


def kept(board: Any) -> list[str]:
    """The texts of all rescues."""
    return [board.archive.content(one).text for one in board.archive.rescues()]


@pytest.mark.parametrize("last", ["20 NEW\n", "20 IF 1=1 THEN NEW\n", "20 FETCH A\n"])
def test_what_a_program_clears_is_kept_before_it_runs(table: Callable[..., Any], last: str) -> None:
    """It was typed at the board's own keyboard, so nothing else holds it; what memory holds then
    is told, and known in the archive."""
    board = table()
    board.load(OTHER, slot="A")
    text = '10 PRINT "BYE"\n' + last
    board.load(text)
    with board.session() as session:
        assert "BYE" in run(session, Given()).output
    assert kept(board) == [text]
    now = "holds another program" if "FETCH" in last else "is empty"
    told = [event.text for event in board.said("Warned")]
    assert told == [f"The board's memory {now} now. What it held before is kept as rescue@1."]
    copy = board.archive.host_copy(board.archive.boards()[0].uuid)
    assert copy is not None
    assert copy.content.text == (OTHER if "FETCH" in last else "")


def test_a_program_that_clears_nothing_is_not_kept_for_a_run(table: Callable[..., Any]) -> None:
    """The word in quotes, or in a remark of other words, is no reason; nothing is told."""
    board = table()
    board.load('10 PRINT "NEW"\n')
    with board.session() as session:
        run(session, Given())
    assert kept(board) == []
    assert board.said("Warned") == []


def test_a_restart_in_a_run_is_told(table: Callable[..., Any]) -> None:
    """The board is at its prompt then, and holds nothing: the program has not ended, and the run is
    kept as failed."""
    board = table()
    board.load('10 PRINT "X"\n20 GOTO 10\n')

    def restart(event: Any) -> None:
        if isinstance(event, RowPrinted) and board.memory:
            board.machine.restart(board.clock.now())

    board.on_event = restart
    with board.session() as session, pytest.raises(LinkError) as caught:
        run(session, Given())
    assert caught.value.kept == "The board restarted: its memory is empty now."
    assert board.archive.runs()[0].end.outcome == "failed"


def test_an_interrupted_program_that_replaced_itself_is_not_called_still_there(
    table: Callable[..., Any],
) -> None:
    """Interrupted it was, by the prompt; where the program is the listing says."""
    board = table()
    board.load("10 IF 1=2 THEN NEW\n20 GOTO 20\n")

    def replace(data: bytes) -> None:
        if b"\x03" in data:
            board.load(OTHER)

    board.on_write = replace
    with board.session() as session, pytest.raises(LinkError) as caught:
        run(session, Given(), longest_s=4.0)
    assert caught.value.kept == (
        "It was interrupted. The board's memory holds another program now. What it held before is "
        "kept as rescue@1."
    )


@pytest.mark.parametrize("line", ["RUN", "GOTO 10", "LET A=1:RUN"])
def test_the_console_looks_into_the_board_before_it_runs(
    table: Callable[..., Any], line: str
) -> None:
    """Not into a host copy that never saw the program; afterwards the copy is as the board is."""
    board = table()
    board.load(CLEARS)
    with board.session() as session:
        choice = session.choice
    events: list[Any] = []
    with Console(choice, board.archive, events.append, lambda _row: None) as console:
        console.enter(line)
        console.settle(60.0, 0.6)
        assert console.copy.lines == {}
    assert board.memory == {}
    assert kept(board) == [CLEARS]


def test_a_program_that_is_answered_is_kept_once(table: Callable[..., Any]) -> None:
    """A number that it does not take may come to be a line: what is lost so is in the archive."""
    board = table()
    text = '10 INPUT A\n20 PRINT "PRECIOUS"\n'
    board.load(text)

    def lose(event: Any) -> None:
        if isinstance(event, RowPrinted) and event.text == "PRECIOUS" and loses:
            board.load("10 INPUT A\n")

    board.on_event = lose
    for loses in (False, True):
        with board.session() as session:
            run(session, Given(["20"]))
        assert kept(board) == [text]
        told = [event.text for event in board.said("Warned")]
        assert told == loses * [
            "The board's memory holds another program now. What it held before is kept as rescue@1."
        ]


def test_a_program_that_cannot_be_kept_is_run_unless_it_clears_itself(
    table: Callable[..., Any],
) -> None:
    """The board says something else of its memory than its listing does."""
    for text, runs in (("10 INPUT A\n20 PRINT A\n", True), ("10 PRINT 7\n20 NEW\n", False)):
        board = table()
        board.load(text)
        with board.session() as session:
            session.dialogue.free_memory = lambda: 3  # type: ignore[method-assign]
            if runs:
                assert "? 5" in run(session, Given(["5"])).output
                assert any("could not be kept first" in each.text for each in board.said("Warned"))
            else:
                with pytest.raises(NotKnownError):
                    run(session, Given())
                assert len(board.memory) == 2
