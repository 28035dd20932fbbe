"""The clock seam: `now()` and `sleep()`. Tests and the soak run use virtual time."""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """Seconds that only go forward; the origin means nothing."""

    def now(self) -> float: ...

    def sleep(self, seconds: float) -> None: ...


class RealClock:
    """The computer's monotonic clock."""

    def now(self) -> float:
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        if seconds > 0:
            time.sleep(seconds)


class VirtualClock:
    """Time that passes only when somebody sleeps."""

    def __init__(self, start: float = 0.0) -> None:
        self._now = start

    def now(self) -> float:
        return self._now

    def sleep(self, seconds: float) -> None:
        if seconds > 0:
            self._now += seconds

    def advance_to(self, moment: float) -> None:
        """Go forward to `moment`; never back."""
        self._now = max(self._now, moment)
