"""The command palette, and a help screen; both are generated from bindings and actions."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass
from textwrap import wrap
from typing import Any, ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.containers import VerticalScroll
from textual.content import Content
from textual.dom import DOMNode
from textual.screen import Screen
from textual.style import Style
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.action import GROUPS, key_words
from hostlink.app.actions.table import BY_ID, way_to
from hostlink.app.widgets.page import Page

_KEY_WIDTH = 13
_WORD = re.compile(r"\w+")
_IN_GROUPS = sorted(BY_ID.values(), key=lambda action: GROUPS.index(action.group))
_PLACES = {action.id: at for at, action in enumerate(_IN_GROUPS)}
TYPED: tuple[tuple[str, str], ...] = (
    ("Load a file after each save in an editor of your own", "hostlink load --watch"),
    ("Commands from a file, one after another over one port", "hostlink together"),
    ("What a program puts out at pins, drawn or as CSV or SVG", "hostlink try --plot"),
    ("Programs found by the output of their runs", "hostlink find --printed"),
    ("Programs tried, and their output compared with what is expected", "hostlink try --all"),
    ("Firmware for another chip or bootloader size", "hostlink firmware write"),
)
"""What only the command line does, with its command, which the palette shows."""


def actions(screen: Screen[Any]) -> list[Binding]:
    """Return the actions available now, each once, in the order of their bindings."""
    return [binding for binding, _ in _available(screen)]


def _available(screen: Screen[Any]) -> Iterator[tuple[Binding, DOMNode]]:
    seen: set[str] = set()
    for active in screen.active_bindings.values():
        binding = active.binding
        if not binding.show or not binding.description or not active.enabled:
            continue
        if binding.action in seen or binding.system:
            continue
        seen.add(binding.action)
        yield binding, active.node


def _ways(binding: Binding, before: str = "") -> list[str]:
    """Return the key of a binding, and the letter that does the same after Escape, if any.

    before: stands before the letter.
    """
    action = BY_ID.get(binding.id or "")
    letter = f"{before}{action.letter.upper()}" if action is not None and action.letter else ""
    return [each for each in (key_words(binding.key), letter) if each]


def likeness(query: str, words: str, tooltip: str, also: str, *, name: str = "") -> float:
    """Return how well an action matches a query; 0 for not at all.

    Words that begin like those of the query count most in the action's words, then among its
    synonyms, then in its tooltip. name: its permanent id; a query that begins it counts most too.
    """
    wanted = _WORD.findall(query.casefold())
    if name and name.startswith(query.casefold()):
        return 4
    if not wanted:
        return 0

    def has_all(text: str) -> bool:
        found = _WORD.findall(text.casefold())
        return all(any(one.startswith(each) for one in found) for each in wanted)

    for score, text in ((4, words), (3, f"{words} {also}"), (2, f"{words} {also} {tooltip}")):
        if has_all(text):
            return score
    return 0


def _marked(words: str, query: str, style: Style) -> Content:
    """Return an action's words, with the beginnings that match a query marked."""
    content, wanted = Content(words), _WORD.findall(query.casefold())
    for found in _WORD.finditer(words):
        hits = [len(each) for each in wanted if found[0].casefold().startswith(each)]
        if hits:
            content = content.stylize(style, found.start(), found.start() + max(hits))
    return content


@dataclass(frozen=True, slots=True)
class _Offer:
    """An action as the palette shows it. name: its permanent id, "" for none.

    way: its key and letter, or its command. why: its tooltip. also: its synonyms.
    """

    name: str
    group: str
    words: str
    way: str
    why: str
    also: str
    work: Callable[[], Awaitable[None]]


class Actions(Provider):
    """Provides all actions of the screen and the app to the palette, group by group."""

    async def discover(self) -> Hits:
        """Yield every available action, for a palette with nothing typed."""
        for action in self._all():
            text = "  ·  ".join(part for part in (action.group, action.way) if part)
            yield DiscoveryHit(action.words, action.work, help=text)

    async def search(self, query: str) -> Hits:
        """Yield the actions that match what was typed, each with its score."""
        style = self.match_style or Style(bold=True)
        for action in self._all():
            words = action.words
            score = likeness(
                query, words, f"{action.way} {action.why}", action.also, name=action.name
            )
            if score > 0:
                text = "  ·  ".join(part for part in (action.way, action.why) if part)
                yield Hit(score, _marked(words, query, style), action.work, text=words, help=text)

    def _all(self) -> Iterator[_Offer]:
        available = sorted(_available(self.screen), key=lambda pair: _place(pair[0]))
        for binding, node in available:
            action = BY_ID.get(binding.id or "")
            yield _Offer(
                binding.id or "",
                _group(binding),
                binding.description,
                " or ".join(_ways(binding, f"{way_to('words')}, ")),
                binding.tooltip,
                action.also if action is not None else "",
                self._call(binding, node),
            )
        for words, command in TYPED:
            yield _Offer("", "At the command line", words, command, "", "", self._tell(command))

    def _tell(self, command: str) -> Callable[[], Awaitable[None]]:
        async def tell() -> None:
            self.app.notify(f"At the command line: {command} --help", markup=False, timeout=15)

        return tell

    def _call(self, binding: Binding, node: DOMNode) -> Callable[[], Awaitable[None]]:
        async def call() -> None:
            await self.app.run_action(binding.action, default_namespace=node)

        return call


def _group(binding: Binding) -> str:
    """Return the group of an action, "" for one of a screen in front of the desk."""
    action = BY_ID.get(binding.id or "")
    return action.group if action is not None else ""


def _place(binding: Binding) -> int:
    """Return an action's place in the table; those of a screen in front come first."""
    return _PLACES.get(binding.id or "", -1)


class Help(Page[None]):
    """The help for a screen: its actions with their keys, in groups by what they are for."""

    HEAD = "Help"
    FOOT = "Escape goes back."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back", tooltip="Go back to where you were"),
    ]

    def __init__(self, of: Screen[Any], about: str) -> None:
        super().__init__()
        self._about = about
        self._lines: list[str] = []  # a group's name begins at the margin
        group = ""
        for binding in sorted(actions(of), key=_place):
            if _group(binding) != group:
                group = _group(binding)
                self._lines += ["", group]
            why = f". {binding.tooltip}" if binding.tooltip else ""
            ways = ", ".join(_ways(binding))
            self._lines.append(f"  {ways:<{_KEY_WIDTH}}{binding.description}{why}")

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
        text = Content("")
        for line in self._lines:
            rows = wrap(line, width, subsequent_indent=" " * (_KEY_WIDTH + 2)) or [""]
            is_group = line and not line.startswith(" ")
            text += Content("\n".join(rows) + "\n").stylize("bold" if is_group else "")
        self.query_one("#keys", Static).update(text)
