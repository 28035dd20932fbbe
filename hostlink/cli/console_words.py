"""Words that the console acts on itself; every other line is typed to the board."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from hostlink.cli.entry import tell
from hostlink.cli.output import say
from hostlink.cli.ways import IN_CONSOLE
from hostlink.errors import HostlinkError
from hostlink.jobs.session.activity import Activity, BoardState
from hostlink.sentences import ONLY_RESTART_HELPS
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.jobs.console import Console

LEAVE = "leave!"
INTERRUPT = "interrupt!"
CAPTURE = "capture!"
AT_PROMPT = "The board is at its prompt."
ASKS_AFTER_S = 0.6  # a program that is silent this long is taken to wait for input


def handle_line(board: Console, line: str, *, answer: Callable[[Console, str], None]) -> bool:
    """Do what a line asks for, or type it to the board; return False for the word that leaves."""
    word = line.rstrip().lower()
    if word == LEAVE:
        return False
    if word == INTERRUPT:
        board.interrupt()
        board.settle(2.0, ASKS_AFTER_S)
    elif word == CAPTURE:
        lines = board.capture()
        say(f"Read from the board, proven: {plural(lines, 'line')}.")
    else:
        answer(board, line)
    return True


def doing_words(state: BoardState) -> str:
    """Return what the board does, and how to stop it, in a sentence; "" if nothing is known."""
    return {
        Activity.PROMPT: AT_PROMPT,
        Activity.ANSWERING: AT_PROMPT,  # again in a moment
        Activity.BUSY: "The board is busy; Ctrl+C stops it.",
        Activity.RUNNING: "A program is running; Ctrl+C stops it.",
        Activity.ASKING: "The program is waiting; Ctrl+C stops it.",
        Activity.RESTARTING: "The board is restarting.",
        Activity.SILENT: "The board or its program is silent.",
        Activity.FULL: f"Its memory is full; {ONLY_RESTART_HELPS}.",
    }.get(state.activity, "")


def report_errors(work: Callable[[], object]) -> None:
    """Call a function and report its error instead of raising it, so that the console goes on."""
    try:
        work()
    except HostlinkError as error:
        tell(error, by=IN_CONSOLE)
