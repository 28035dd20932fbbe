"""The shape of every protocol core: bytes and the time go in, actions and events come out.

A core has no port, no clock and no thread. `step` is called with the bytes received since the last
call (often none); it returns what to write and by when to call it again. Once `done` is true the
result is complete and `step` is not called any more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Step:
    """What a core requests: bytes to write, and the latest time (seconds) of its next call."""

    write: bytes = b""
    wake: float | None = None


class Core(Protocol):
    """A protocol state machine without I/O."""

    @property
    def done(self) -> bool:
        """Return whether the result is complete; `step` is not called any more."""

    def step(self, now: float, received: bytes) -> Step:
        """Take the bytes received since the last call; return what to write and when to call again.

        now: clock time in seconds.
        """


class Overheard:
    """A core whose received bytes are also passed on. heard: called with them before the core."""

    def __init__(self, core: Core, heard: Callable[[bytes], object]) -> None:
        self._core = core
        self._heard = heard

    @property
    def done(self) -> bool:
        """Return whether the core is done."""
        return self._core.done

    def step(self, now: float, received: bytes) -> Step:
        """Pass on the received bytes, and let the core take them."""
        if received:
            self._heard(received)
        return self._core.step(now, received)
