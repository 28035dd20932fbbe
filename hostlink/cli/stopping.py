"""Signals: the first Ctrl+C, SIGTERM or SIGHUP stops a job at a safe point, a second at once.

A signal that was ignored when hostlink was started (`nohup`, a job in the background of a script)
stays ignored. The exit status is 128 and the signal's number, as in shells: 130, 143, 129.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator, Sequence

import click

from hostlink.errors import ExitStatus, Interrupted
from hostlink.sentences import REPEAT

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # not every system has all of them
_received: list[int] = []
_questions: list[bool] = []  # one for each question on the screen


class Ended(KeyboardInterrupt):
    """Raised for SIGTERM and SIGHUP, which end hostlink even where Ctrl+C does something else."""


class CutOff(KeyboardInterrupt):
    """Raised when a second signal arrives while a job is being stopped."""


def final_status(status: int) -> int:
    """Return the exit status of the process: 128 plus the signal's number if one ended it."""
    if _received and status != ExitStatus.DONE:
        return 128 + _received[-1]
    return status


def handle_signals() -> None:
    """Install handlers so that SIGTERM and SIGHUP stop the current job as Ctrl+C does."""

    def end(number: int, frame: object) -> None:  # noqa: ARG001 - the signal's signature
        _received.append(number)
        raise KeyboardInterrupt if number == signal.SIGINT else Ended

    _handle(end)


def let_go() -> None:
    """Restore the default handling of the signals; hostlink is ending."""
    for number in _handle(lambda number, frame: None):  # noqa: ARG005 - the signal's signature
        signal.signal(number, signal.SIG_DFL)


@contextlib.contextmanager
def stoppable() -> Iterator[Callable[[], bool]]:
    """Yield a function that tells a job inside the block whether to stop at its next safe point.

    A second signal raises CutOff. Outside the main thread the caller has to stop the job.
    """
    stopped: list[bool] = []

    def stop(number: int, frame: object) -> None:  # noqa: ARG001 - the signal's signature
        _received.append(number)
        if stopped:
            raise CutOff
        if _questions:
            raise KeyboardInterrupt
        stopped.append(True)

    try:
        before = _handle(stop)
    except ValueError:  # not the main thread
        yield lambda: False
        return
    try:
        yield lambda: bool(stopped)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextlib.contextmanager
def told_when_stopped(what: str, kept: Callable[[], str]) -> Iterator[None]:
    """Turn a signal during the block into Interrupted with a clear message.

    what: the work, as the subject of a sentence. kept: returns what was kept, in words.
    """
    try:
        yield
    except KeyboardInterrupt:
        raise Interrupted(f"{what} was stopped.", kept=kept(), advice=REPEAT) from None


def ask_yes_no(question: str) -> bool:
    """Ask a person for a yes or no. Raises Interrupted if they end hostlink instead.

    If a command is only rehearsed, the answer is yes and nobody is asked.
    """
    from hostlink.jobs.rehearsing import is_rehearsal

    if is_rehearsal():
        return True
    while True:
        word = ask_word(f"{question} (y: yes, Enter: no)").lower()
        if word in ("", "n", "no"):
            return False
        if word in ("y", "yes"):
            return True
        click.echo("Type y for yes, or press Enter for no.", err=True)


def ask_word(question: str, *, choices: Sequence[str] = ()) -> str:
    """Ask the user for an answer, one of the choices if there are any; "" for an empty answer.

    Raises Interrupted if they end hostlink instead.
    """
    kind = click.Choice(choices) if choices else str
    default = None if choices else ""
    with _asking():
        word: str = click.prompt(question, type=kind, default=default, show_default=False, err=True)
        return word.strip()


@contextlib.contextmanager
def _asking() -> Iterator[None]:
    """Let a signal end a question at once, by raising Interrupted."""
    _questions.append(True)
    try:
        yield
    except click.Abort:
        raise Interrupted(
            "Stopped at the question.", kept="Nothing has been done since it was asked."
        ) from None
    finally:
        _questions.pop()


def _handle(handler: Callable[[int, object], None]) -> dict[signal.Signals, signal._HANDLER]:
    """Install a handler for each signal that is not ignored; return the previous handlers."""
    before: dict[signal.Signals, signal._HANDLER] = {}
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, handler)
    return before
