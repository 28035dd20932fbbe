"""The command console: with line editing on a terminal, line by line on a pipe.

A command to hostlink itself is one word that ends with an exclamation mark, as no BASIC line does.
A blank before such a word sends it to the board.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import click

from hostlink.cli.console_words import ASKS_AFTER_S, handle_line
from hostlink.cli.context import CommonOptions
from hostlink.cli.entry import tell
from hostlink.cli.input_lines import input_lines
from hostlink.cli.options import shared
from hostlink.cli.output import data, say
from hostlink.cli.stopping import stoppable
from hostlink.cli.ways import IN_CONSOLE
from hostlink.errors import ExitStatus, LineTooLongError
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.jobs.console import Console
    from hostlink.jobs.session.link_choice import LinkChoice

_LONGEST_ANSWER_S = 60.0


@click.command()
@shared(link=True)
def console(common: CommonOptions) -> int:
    """Talk to the board; the host copy follows what is typed.

    Type leave! to end. interrupt! (or Ctrl+C) stops the running program, and capture! reads the
    board's program. A paste is mended and reviewed before it is sent; a line that clears the
    program waits until the program is kept. On a pipe, lines come from standard input.
    """
    with common.archive() as archive:
        choice = common.link_choice(archive)
        if sys.stdin.isatty() and sys.stdout.isatty():
            from hostlink.cli.console_screen import talk

            return talk(common, archive, choice)
        return _pipe(common, archive, choice)


def _pipe(common: CommonOptions, archive: Archive, choice: LinkChoice) -> int:
    """Type each line of standard input after the answer to the previous one; print the output."""
    from hostlink.cli.progress import Teller
    from hostlink.jobs.console import Console

    teller = Teller(quiet=common.quiet, by=IN_CONSOLE)
    with (
        stoppable() as stopped,
        Console(choice, archive, teller.emit, data, cancelled=stopped) as board,
    ):
        status = ExitStatus.DONE
        for line in _lines(stopped):
            try:
                if not handle_line(board, line, answer=_answer):
                    break
            except LineTooLongError as error:
                tell(error, by=IN_CONSOLE)
                status = error.status
        board.settle(_LONGEST_ANSWER_S, _LONGEST_ANSWER_S)
        if stopped():
            board.interrupt()
            return ExitStatus.INTERRUPTED
        if not board.at_prompt:
            if board.partial:
                data(board.partial)
            say("The program was left running.", quiet=common.quiet)
    return status


def _lines(stopped: Callable[[], bool]) -> Iterator[str]:
    """Yield the lines of standard input until it ends or hostlink is told to stop."""
    source = input_lines()
    while not stopped():
        try:
            line = source.take()
        except EOFError:
            return
        if line is not None:
            yield line


def _answer(board: Console, line: str) -> None:
    """Type a line and wait for the prompt or for a question of the program."""
    data(f"{board.partial}{safe(line)}")
    board.enter(line)
    board.settle(_LONGEST_ANSWER_S, ASKS_AFTER_S)
