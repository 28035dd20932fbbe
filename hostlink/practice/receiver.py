"""The receive interrupt of a board: it buffers bytes and notices the interrupt key."""

from __future__ import annotations

from collections import deque

from hostlink.practice.ops import Chore, Op, Work
from hostlink.practice.settings import BoardSettings

_RUNNING = frozenset((Chore.DIRECT, Chore.STATEMENT, Chore.LIST_LINE))


class Receiver:
    """The receive buffer of one board. interrupt: the code of the interrupt key, -1 for none."""

    def __init__(self, settings: BoardSettings) -> None:
        self.interrupt = settings.interrupt[0] if settings.interrupt else -1
        self.waiting: deque[int] = deque()
        self._room = settings.receive_buffer
        self._at_once = settings.interrupt_typed == "at-once"
        self._interrupted = False

    def reset(self) -> None:
        """Forget everything, as a restart does."""
        self.waiting.clear()
        self._interrupted = False

    def take(self, byte: int, op: Op) -> bool:
        """Take a byte that arrived during an operation; return False if the buffer was full."""
        if self.notices(byte, op):
            return True
        if len(self.waiting) >= self._room:
            return False
        self.waiting.append(byte)
        return True

    def notices(self, byte: int, op: Op) -> bool:
        """Return whether a byte is the interrupt key and acts as such during an operation."""
        if byte != self.interrupt:
            return False
        if not (self._at_once or (isinstance(op, Work) and op.chore in _RUNNING)):
            return False
        self._interrupted = True
        return True

    def take_interrupt(self) -> bool:
        """Return whether the interrupt key was noticed since the last call."""
        interrupted, self._interrupted = self._interrupted, False
        return interrupted
