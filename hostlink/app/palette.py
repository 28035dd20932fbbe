"""Every action by its words, and the help made of the keys that are really bound."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import wrap
from typing import Any, ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.page import Page

_KEY_WIDTH = 13
_KEYS = {
    "ctrl": "Ctrl",
    "alt": "Alt",
    "shift": "Shift",
    "escape": "Escape",
    "enter": "Enter",
    "space": "Space",
    "pageup": "Page up",
    "pagedown": "Page down",
}


def key_words(key: str) -> str:
    """A key as it is written on keyboards: Ctrl+L, F1, Page up."""
    parts = key.split("+")
    return "+".join(_KEYS.get(part, part.upper() if len(part) < 3 else part) for part in parts)


def actions(screen: Screen[Any]) -> list[Binding]:
    """The actions that a person can call now, each once, in the order in which they are bound."""
    seen: set[str] = set()
    found: list[Binding] = []
    for active in screen.active_bindings.values():
        binding = active.binding
        if not binding.show or not binding.description or not active.enabled:
            continue
        if binding.action in seen or binding.system:
            continue
        seen.add(binding.action)
        found.append(binding)
    return found


class Actions(Provider):
    """All actions of the screen and the app, for the palette."""

    def _all(self) -> Iterable[tuple[Binding, Any]]:
        for active in self.screen.active_bindings.values():
            binding = active.binding
            if binding.show and binding.description and not binding.system and active.enabled:
                yield binding, active.node

    async def discover(self) -> Hits:
        for binding, node in self._all():
            yield DiscoveryHit(
                self._words(binding), self._call(binding, node), help=self._help(binding)
            )

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        for binding, node in self._all():
            words = self._words(binding)
            score = max(matcher.match(words), matcher.match(binding.tooltip) * 0.8)
            if score > 0:
                yield Hit(
                    score,
                    matcher.highlight(words),
                    self._call(binding, node),
                    text=words,
                    help=self._help(binding),
                )

    def _words(self, binding: Binding) -> str:
        return binding.description

    def _help(self, binding: Binding) -> str:
        return f"{key_words(binding.key)}  {binding.tooltip}".rstrip()

    def _call(self, binding: Binding, node: Any) -> Any:
        async def call() -> None:
            await self.app.run_action(binding.action, default_namespace=node)

        return call


class Help(Page[None]):
    """All keys of the screen it was asked from."""

    HEAD = "Help"
    FOOT = "Escape goes back."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back", tooltip="Go back to where you were"),
    ]

    def __init__(self, of: Screen[Any], about: str) -> None:
        super().__init__()
        self._lines = [
            f"{key_words(binding.key):<{_KEY_WIDTH}}{binding.description}"
            + (f". {binding.tooltip}" if binding.tooltip else "")
            for binding in actions(of)
        ]
        self._about = about

    def body(self) -> Iterator[Widget]:
        with VerticalScroll():
            yield Static(Content(self._about), classes="words", markup=False)
            yield Static("", classes="words", markup=False, id="keys")

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()

    def on_resize(self, event: events.Resize) -> None:
        """What a key does stays in its column, however long it is."""
        width = max(2 * _KEY_WIDTH, event.size.width - 4)
        rows = [wrap(line, width, subsequent_indent=" " * _KEY_WIDTH) for line in self._lines]
        text = "\n".join(row for each in rows for row in each)
        self.query_one("#keys", Static).update(Content(text))
