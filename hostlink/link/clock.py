"""The clock interface, `now()` and `sleep()`, in real time and in virtual time for tests."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

_LONGEST_GAP_S = 0.5  # well above the 0.1 s for which a port may block


class Clock(Protocol):
    """A clock that only moves forward, in seconds from an arbitrary origin."""

    def now(self) -> float:
        """Return the current time in seconds."""

    def sleep(self, seconds: float) -> None:
        """Wait for some seconds; return at once if the number is not positive."""


class RealClock:
    """Measure time with the computer's monotonic clock, leaving out suspensions of the process.

    Waiting code reads the clock many times a second. A longer gap between two readings means that
    the process was suspended (Ctrl+Z, a debugger) or blocked. It could not receive anything in
    that time, so the gap counts towards no deadline.
    ticks: the source of monotonic seconds.
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
        """Return the time; count at most longest_s seconds since the previous reading."""
        ticks = self._ticks()
        self._stood_s += max(0.0, ticks - self._seen - longest_s)
        self._seen = ticks
        return ticks - self._stood_s


class VirtualClock:
    """A clock whose time passes only in `sleep` and `advance_to`."""

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
        """Move the time forward to `moment` (seconds); do nothing if it is in the past."""
        self._now = max(self._now, moment)
