"""The clock seam: `now()` and `sleep()`. Tests and the soak run use virtual time."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

_LONGEST_GAP_S = 0.5  # well above the 0.1 s for which a port may block


class Clock(Protocol):
    """Seconds that only go forward; the origin means nothing."""

    def now(self) -> float:
        """Return the current time in seconds."""

    def sleep(self, seconds: float) -> None:
        """Wait for some seconds; return at once if the number is not positive."""


class RealClock:
    """The computer's monotonic clock, without the time in which this process stood still.

    Whoever waits by it looks at it many times a second. A longer gap means that the process was
    stopped (Ctrl+Z, a debugger) or blocked; no deadline fires for time in which nothing was heard.
    ticks: seconds that only go forward.
    """

    def __init__(self, ticks: Callable[[], float] = time.monotonic) -> None:
        self._ticks = ticks
        self._seen = ticks()
        self._stood_s = 0.0

    def now(self) -> float:
        """Return the time in seconds, without the periods in which the process was suspended."""
        return self._after(_LONGEST_GAP_S)

    def sleep(self, seconds: float) -> None:
        """Block the calling thread for some seconds."""
        if seconds > 0:
            self.now()
            time.sleep(seconds)
            self._after(seconds + _LONGEST_GAP_S)

    def _after(self, longest_s: float) -> float:
        """The time, of which no more than longest_s has passed since it was last looked at."""
        ticks = self._ticks()
        self._stood_s += max(0.0, ticks - self._seen - longest_s)
        self._seen = ticks
        return ticks - self._stood_s


class VirtualClock:
    """Time that passes only when somebody sleeps."""

    def __init__(self, start: float = 0.0) -> None:
        self._now = start

    def now(self) -> float:
        """Return the virtual time in seconds."""
        return self._now

    def sleep(self, seconds: float) -> None:
        """Advance the virtual time by some seconds, without waiting."""
        if seconds > 0:
            self._now += seconds

    def advance_to(self, moment: float) -> None:
        """Go forward to `moment`; never back."""
        self._now = max(self._now, moment)
