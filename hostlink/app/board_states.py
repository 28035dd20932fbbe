"""What each attached board is known to hold, and what it lost: state without an interface."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from hostlink.app.texts import BoardContents

if TYPE_CHECKING:
    from hostlink.jobs.events import MemoryLost

_UNKNOWN = BoardContents()


class BoardStates:
    """By port. A program that a board lost is offered again once, until the board holds one."""

    def __init__(self) -> None:
        self._held: dict[str, BoardContents] = {}
        self._lost: dict[str, MemoryLost] = {}
        self._offered: dict[str, str] = {}  # the spec that was offered last

    def held(self, port: str) -> BoardContents:
        """What a board holds; `known` is false where nobody can say."""
        return self._held.get(port, _UNKNOWN)

    def note(self, port: str, held: BoardContents) -> None:
        """A board was read, or what it holds was proven otherwise."""
        self._held[port] = held
        if held.lines:
            self._lost.pop(port, None)
            self._offered.pop(port, None)

    def forget(self, port: str) -> None:
        """Nobody can say what a board holds, until it is read again."""
        self._held.pop(port, None)

    def lose(self, port: str, event: MemoryLost) -> None:
        """A board lost a program. It is to be offered if it is kept and was not offered yet."""
        if event.spec and self._offered.get(port) != event.spec:
            self._lost[port] = event

    def take_loss(
        self, attached: Iterable[str], is_free: Callable[[str], bool]
    ) -> tuple[str, MemoryLost] | None:
        """A loss to offer now, with its port; it counts as offered from here on.

        attached: the ports whose boards are attached; what others lost is let go of.
        is_free: whether a board can be loaded now.
        """
        here = set(attached)
        for port in list(self._lost):
            if port not in here:
                del self._lost[port]
            elif is_free(port):
                event = self._lost.pop(port)
                self._offered[port] = event.spec
                return port, event
        return None
