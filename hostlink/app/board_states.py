"""What each attached board is known to hold, and what it lost: state without an interface."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from hostlink.app.board_words import KnownContents

if TYPE_CHECKING:
    from hostlink.jobs.events import MemoryLost

_UNKNOWN = KnownContents()


class BoardStates:
    """What each board holds and has lost, by port. Each loss is offered for reloading only once."""

    def __init__(self) -> None:
        self._held: dict[str, KnownContents] = {}
        self._lost: dict[str, MemoryLost] = {}
        self._offered: dict[str, str] = {}  # the spec that was offered last

    def held(self, port: str) -> KnownContents:
        """Return what a board holds; its `known` is false if that is not known."""
        return self._held.get(port, _UNKNOWN)

    def note(self, port: str, held: KnownContents) -> None:
        """Record what a board holds, as read or proven."""
        self._held[port] = held
        if held.lines:
            self._lost.pop(port, None)
            self._offered.pop(port, None)

    def forget(self, port: str) -> None:
        """Record that it is not known what a board holds, until it is read again."""
        self._held.pop(port, None)

    def lose(self, port: str, event: MemoryLost) -> None:
        """Record a lost program, to be offered if it is kept and was not offered before."""
        if event.spec and self._offered.get(port) != event.spec:
            self._lost[port] = event

    def take_loss(
        self, attached: Iterable[str], is_free: Callable[[str], bool]
    ) -> tuple[str, MemoryLost] | None:
        """Return a lost program to offer now, with its port; it counts as offered from then on.

        attached: the ports of the attached boards; losses at other ports are dropped. is_free:
        tells whether the board at a port can be loaded now.
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
