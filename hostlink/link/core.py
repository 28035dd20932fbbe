"""The shape of every protocol core: bytes and the time go in, actions and events come out.

A core has no port, no clock and no thread. `step` is called with what came in since the last call
(often nothing) and answers with what to write and when to be called again at the latest. When
`done` is true its result is complete and it is not called any more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Step:
    """What a core wants: bytes to write, and the latest moment (seconds) of its next call."""

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
