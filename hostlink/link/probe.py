"""Sending bytes once and timing what comes back: the measurement that surveys consist of.

Its states and their moves are PROBE in hostlink.link.states.
"""

from __future__ import annotations

from hostlink.link.core import Step
from hostlink.link.states import PROBE, CoreState, StatedCore

MOST_BYTES = 65_536


class Probe(StatedCore):
    """Write `out` once and listen until the line is quiet.

    byte_s: seconds per byte at the port's speed. quiet_s: seconds without a byte, sent or received,
    that end the measurement. first_s: the same until the first byte comes, at least quiet_s.
    longest_s: seconds after which the measurement ends in any case.
    Results: `heard`, `sent_at`, `arrivals` as (clock seconds, bytes) in order, and `overdue`:
    whether bytes were still coming at the end.
    """

    def __init__(
        self,
        out: bytes,
        byte_s: float,
        *,
        quiet_s: float,
        longest_s: float,
        first_s: float | None = None,
    ) -> None:
        super().__init__(PROBE)
        self.arrivals: list[tuple[float, bytes]] = []
        self.sent_at = 0.0
        self._out = out
        self._byte_s = byte_s
        self._quiet_s = quiet_s
        self._longest_s = longest_s
        self._first_s = max(quiet_s, first_s or 0.0)
        self._last = self._end = 0.0
        self._size = 0
        self.overdue = False

    @property
    def heard(self) -> bytes:
        """Return everything that came back, in order."""
        return b"".join(data for _, data in self.arrivals)

    def step(self, now: float, received: bytes) -> Step:
        """Send the bytes on the first call; on later calls record what comes back, and when."""
        if self._course.state is CoreState.SENDING:
            self._course.move(CoreState.COLLECTING)
            self.sent_at = now
            self._last = now + len(self._out) * self._byte_s
            self._end = self._last + self._longest_s
            return Step(self._out, min(self._last + self._first_s, self._end))
        if received:
            self.arrivals.append((now, received))
            self._size += len(received)
            self._last = max(self._last, now)
        self.overdue = now >= self._end or self._size > MOST_BYTES
        quiet_at = self._last + (self._quiet_s if self.arrivals else self._first_s)
        if self.overdue or now >= quiet_at:
            self._course.move(CoreState.DONE)
        return Step(b"", min(quiet_at, self._end))

    def moment_of(self, place: int) -> float:
        """Return when the byte at index `place` of `heard` came, in seconds after sending began.

        Raises IndexError if there is no such byte.
        """
        passed = 0
        for moment, data in self.arrivals:
            passed += len(data)
            if passed > place:
                return moment - self.sent_at
        raise IndexError(place)
