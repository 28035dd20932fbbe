"""Signals that end the app: it leaves between two of its steps, not in the middle of one.

The usual handlers raise an exception. In the middle of textual's own code that may
leave its threads running, and then the process never ends (seen in textual 8.2 on a busy computer).
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # not every system has all of them
_HANGUP = getattr(signal, "SIGHUP", None)


@contextmanager
def leaving_on_signals(app: DeskApp) -> Iterator[None]:
    """End the app cleanly on a signal, and raise the signal's exception after the block.

    A signal before the app's loop runs, or a second signal, raises at once; a second SIGHUP does
    not, since both the system and terminal.py send one when a terminal ends.
    """
    ended: list[KeyboardInterrupt] = []

    def leave(found: Callable[..., object], number: int, frame: object) -> None:
        try:
            found(number, frame)
        except KeyboardInterrupt as error:
            if app._loop is None or (ended and number != _HANGUP):
                raise
            if not ended:
                app._loop.call_soon_threadsafe(app.exit)
            ended.append(error)

    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    for number, found in before.items():
        if callable(found):
            signal.signal(number, partial(leave, found))
    try:
        yield
    finally:
        for number, found in before.items():
            signal.signal(number, found)
        # What raised at once may have left textual's thread that reads: the process waits for it.
        if reading := getattr(app._driver, "exit_event", None):
            reading.set()
    if ended:
        raise ended[0]
