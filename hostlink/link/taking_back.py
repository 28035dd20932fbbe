"""Taking back a line that hostlink typed in part, so that nothing of it is entered later."""

from __future__ import annotations

from hostlink.link.core import Step
from hostlink.link.pacing import Pacing
from hostlink.link.states import TAKING_BACK, CoreState, StatedCore
from hostlink.link.wire import Wire


def take_back(wire: Wire, pacing: Pacing) -> bytes:
    """Erase a line that hostlink typed in part; return what cannot be erased.

    That is all of it on a board with neither a key that cancels a line nor one that erases.
    """
    sent, wire.open_line = wire.open_line, b""
    if not sent or not (pacing.line_cancel or pacing.erase):
        return sent
    wire.run(TakingBack(pacing, len(sent)))
    wire.open_line = b""
    return b""


class TakingBack(StatedCore):
    """Cancel the board's input line, or erase its characters one by one.

    count: characters of the line that the board may have taken.
    """

    def __init__(self, pacing: Pacing, count: int) -> None:
        super().__init__(TAKING_BACK)
        erasing = [pacing.erase] * count if pacing.erase else []
        self._keys = [pacing.line_cancel] if pacing.line_cancel else erasing
        self._pacing = pacing
        self._last: float | None = None

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return the next key and when to call again (seconds)."""
        if self._last is None or received:
            self._last = now
        pause_s = self._pacing.erasing_s if self._keys else self._pacing.quiet_s
        if now < self._last + pause_s:
            return Step(b"", self._last + pause_s)
        if not self._keys:
            self._course.move(CoreState.DONE)
            return Step()
        self._last = now + self._pacing.byte_s
        return Step(self._keys.pop(), self._last)
