"""The command palette, and a help screen generated from the key bindings."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, Iterator
from textwrap import wrap
from typing import Any, ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.containers import VerticalScroll
from textual.content import Content
from textual.dom import DOMNode
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.widgets.page import Page

_KEY_WIDTH = 13
TYPED: tuple[tuple[str, str], ...] = (
    ("Tag a program, or take tags off", "hostlink tag"),
    ("Note on a program", "hostlink note"),
    ("Rescues: list what was kept before it was overwritten", "hostlink programs --rescues"),
    ("Compare any two listings", "hostlink compare"),
    ("Run a program with its input from a file", "hostlink run --input"),
    ("Load, save or back up many boards at once", "hostlink load --all"),
    ("Load a file after each save in an editor of your own", "hostlink load --watch"),
    ("Several commands over one open port, together", "hostlink together"),
    ("Firmware for another chip or bootloader size", "hostlink firmware write"),
    ("Prove the archive: every hash and reference", "hostlink archive prove"),
    ("Duplicate the archive into one file", "hostlink archive duplicate"),
    ("Export the archive as a BagIt folder", "hostlink archive export"),
    ("Import a BagIt folder or another archive", "hostlink archive import"),
)
"""What only the command line does, with the command for it: the palette tells where it is."""
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
    """Return the name of a key as printed on keyboards: Ctrl+L, F1, Page up."""
    parts = key.split("+")
    return "+".join(_KEYS.get(part, part.upper() if len(part) < 3 else part) for part in parts)


def actions(screen: Screen[Any]) -> list[Binding]:
    """Return the actions available now, each once, in the order of their bindings."""
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
    """Provides all actions of the screen and the app to the palette."""

    def _all(self) -> Iterable[tuple[Binding, DOMNode]]:
        for active in self.screen.active_bindings.values():
            binding = active.binding
            if binding.show and binding.description and not binding.system and active.enabled:
                yield binding, active.node
        for binding in getattr(self.screen, "KEYLESS", ()):
            yield binding, self.screen

    async def discover(self) -> Hits:
        """Yield every available action, for a palette in which nothing has been typed yet."""
        for binding, node in self._all():
            yield DiscoveryHit(
                self._words(binding), self._call(binding, node), help=self._help(binding)
            )
        for words, command in TYPED:
            yield DiscoveryHit(words, self._tell(command), help=f"At the command line: {command}")

    async def search(self, query: str) -> Hits:
        """Yield the actions that match what was typed, each with a score from 0 to 1."""
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

        for words, command in TYPED:
            score = max(matcher.match(words), matcher.match(command) * 0.8)
            if score > 0:
                yield Hit(
                    score * 0.9,  # behind what a key does
                    matcher.highlight(words),
                    self._tell(command),
                    text=words,
                    help=f"At the command line: {command}",
                )

    def _tell(self, command: str) -> Callable[[], Awaitable[None]]:
        async def tell() -> None:
            self.app.notify(f"At the command line: {command} --help", markup=False, timeout=15)

        return tell

    def _words(self, binding: Binding) -> str:
        return binding.description

    def _help(self, binding: Binding) -> str:
        return f"{key_words(binding.key)}  {binding.tooltip}".rstrip()

    def _call(self, binding: Binding, node: DOMNode) -> Callable[[], Awaitable[None]]:
        async def call() -> None:
            await self.app.run_action(binding.action, default_namespace=node)

        return call


class Help(Page[None]):
    """The help for a screen: all its keys."""

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
        """Lay out a description of the screen, where it has one, and its keys."""
        with VerticalScroll():
            if self._about:
                yield Static(Content(self._about), classes="words", markup=False)
            yield Static("", classes="words", markup=False, id="keys")

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()

    def on_resize(self, event: events.Resize) -> None:
        """Show the keys again, with their descriptions aligned in one column."""
        width = max(2 * _KEY_WIDTH, event.size.width - 4)
        rows = [wrap(line, width, subsequent_indent=" " * _KEY_WIDTH) for line in self._lines]
        text = "\n".join(row for each in rows for row in each)
        self.query_one("#keys", Static).update(Content(text))
