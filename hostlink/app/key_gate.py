"""Hold keys back while the focus is about to move, so that none of them lands in the wrong place.

A terminal may deliver several keys at once: a key that opens something, and the text meant for it.
Textual moves the focus and opens screens by messages, so without this the text would go to what had
the focus before. Rules:

1. A key that is typed into the text with the focus goes on at once; it cannot move the focus.
2. After any other key, the keys that follow wait until all that it caused has been handled. To find
   out, a callback travels from the focused widget through its parents to the app, behind the key's
   own messages. Three rounds in a row must leave screen and focus unchanged: one for the key, one
   for the message that its action sends, one for what that message causes.
3. No key waits longer than ten seconds for the one before it, because a handler may never end. A
   busy computer needs more than one second at times.
4. A paste waits as a typed key does.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from textual.dom import DOMNode
from textual.events import Key, Paste
from textual.timer import Timer
from textual.widgets import Input, TextArea

if TYPE_CHECKING:
    from textual.app import App

_LONGEST_S = 10.0
_STILL, _ROUNDS = 3, 12  # rounds without a change that open the gate; most rounds for one key
_EDITS = frozenset(("left", "right", "home", "end", "backspace", "delete"))
_MOVES = frozenset(("enter", "up", "down", "pageup", "pagedown"))  # in a text of several lines


@runtime_checkable
class Early(Protocol):
    """A screen that opened by itself, perhaps while a key was on its way."""

    def ignores_key(self) -> bool:
        """Return whether a key that comes now was not meant for this screen."""


class KeyGate:
    """The gate in front of one app. deliver: handles a key as the app would without the gate."""

    def __init__(self, app: App[Any], deliver: Callable[[Key | Paste], Awaitable[None]]) -> None:
        self._app = app
        self._deliver = deliver
        self._held: deque[Key | Paste] = deque()
        self._turn = 0  # late callbacks of earlier turns are ignored
        self._round = 0
        self._still = 0  # rounds in a row that changed nothing
        self._seen: tuple[object, object] = (None, None)
        self._limit: Timer | None = None
        self._settled: object = None  # the screen that the last key was delivered to
        self.taken = 0  # keys and pastes so far

    @property
    def _closed(self) -> bool:
        return self._limit is not None  # the timer runs while the gate is closed

    async def take(self, event: Key | Paste) -> None:
        """Deliver a key or a paste now, or once those before it have been handled."""
        self.taken += 1
        if isinstance(self._app.screen, Early) and self._app.screen.ignores_key():
            return
        if not self._closed and self._app.screen is not self._settled:
            self._close()  # a screen that no key opened: it may not be drawn yet
        if self._closed:
            self._held.append(event)
            return
        await self._pass(event)

    async def _pass(self, event: Key | Paste) -> None:
        stays = self._is_typing(event)
        await self._deliver(event)
        if not stays:
            self._close()

    def _close(self) -> None:
        """Hold keys until what is under way has been handled: a key's work, or a new screen."""
        if self._limit is not None:
            self._limit.stop()
        self._turn += 1
        self._round = self._still = 0
        self._limit = self._app.set_timer(_LONGEST_S, self._open)
        self._send_round()

    def _is_typing(self, event: Key | Paste) -> bool:
        """Return whether a key only changes the text that has the focus."""
        focused = self._app.focused
        if not isinstance(focused, TextArea | Input):
            return False
        if isinstance(event, Paste) or event.is_printable or event.key in _EDITS:
            return True
        return isinstance(focused, TextArea) and event.key in _MOVES

    def _send_round(self) -> None:
        """Send a callback along the path of a key's messages."""
        self._round += 1
        self._seen = self._place()
        self._hop(self._app.focused or self._app.screen, self._turn)

    def _hop(self, node: DOMNode, turn: int) -> None:
        if node is self._app or node.parent is None:
            self._app.call_later(self._came_back, turn)
        elif not node.call_later(self._hop, node.parent, turn):
            self._app.call_later(self._came_back, turn)  # the node is being closed

    async def _came_back(self, turn: int) -> None:
        if not self._closed or turn != self._turn:
            return
        self._still = self._still + 1 if self._place() == self._seen else 0
        if self._still < _STILL and self._round < _ROUNDS:
            self._send_round()
        else:
            await self._open()

    def _place(self) -> tuple[object, object]:
        return self._app.screen, self._app.focused

    async def _open(self) -> None:
        """Deliver the held keys, up to the next that may move the focus."""
        if self._limit is not None:
            self._limit.stop()
            self._limit = None
        self._settled = self._app.screen
        while self._held and not self._closed:
            await self._pass(self._held.popleft())
