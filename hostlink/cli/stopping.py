"""Being ended: Ctrl+C, SIGTERM and SIGHUP end a job in good order, a second one ends it at once.

A signal that was ignored when hostlink was started (`nohup`, a job in the background of a script)
stays ignored. The exit status is 128 and the signal's number, as shells have it: 130, 143, 129.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator

import click

from hostlink.errors import ExitStatus, Interrupted

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # not every system has all of them
_received: list[int] = []
_questions: list[bool] = []  # one for each that stands on the screen


class Ended(KeyboardInterrupt):
    """A signal other than Ctrl+C came; where Ctrl+C has another meaning, this one ends hostlink."""


class CutOff(KeyboardInterrupt):
    """A job that was being ended in good order was told again to end."""


def final(status: int) -> int:
    """The exit status of the process: whatever else failed, a signal is why it was ended."""
    if _received and status != ExitStatus.DONE:
        return 128 + _received[-1]
    return status


def heed() -> None:
    """From now on each of the signals ends what is being done as Ctrl+C does."""

    def end(number: int, frame: object) -> None:  # noqa: ARG001 - the signal's signature
        _received.append(number)
        raise KeyboardInterrupt if number == signal.SIGINT else Ended

    _handle(end)


def let_go() -> None:
    """Leave the signals to the system: hostlink is done."""
    for number in _handle(lambda number, frame: None):  # noqa: ARG005 - the signal's signature
        signal.signal(number, signal.SIG_DFL)


@contextlib.contextmanager
def stoppable() -> Iterator[Callable[[], bool]]:
    """What is done inside looks at what this gives: whether it is to end in good order.

    A second signal raises CutOff. Outside the main thread whoever called handles stopping.
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
    """Say of work that a signal may break off at any moment what was stopped, and what is whole.

    kept: asked when that has happened.
    """
    try:
        yield
    except KeyboardInterrupt:
        raise Interrupted(
            f"{what} was stopped.", kept=kept(), advice="Repeat the command to complete it."
        ) from None


def agreed(question: str) -> bool:
    """Ask a person for a yes or no. Raises Interrupted where they end hostlink instead.

    Where a command is only rehearsed the answer is yes, and nobody is asked.
    """
    from hostlink.jobs.rehearsing import is_rehearsal

    if is_rehearsal():
        return True
    _questions.append(True)
    try:
        return click.confirm(question, default=False, err=True)
    except click.Abort:
        raise Interrupted(
            "Stopped at the question.", kept="Nothing was done to the board since it was asked."
        ) from None
    finally:
        _questions.pop()


def _handle(handler: Callable[[int, object], None]) -> dict[signal.Signals, signal._HANDLER]:
    """Handle each signal that is not ignored; what handled them before."""
    before: dict[signal.Signals, signal._HANDLER] = {}
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, handler)
    return before
