"""An action of the desk, and how its key is named.

An action is reached by a key, if it has one; by its letter in the line of words, which Escape
opens; and by name in the palette. Not used are the letters b and f, which some terminals send after
Escape for Alt and an arrow, and keys that terminals, multiplexers and editors keep for themselves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.binding import Binding

if TYPE_CHECKING:
    from hostlink.app.desk.desk import Desk

BOARD, LISTING, CHECK, ARCHIVE, APP = (
    "Work with the board",
    "Write the listing",
    "Check and improve the listing",
    "Find, compare and share",
    "Use hostlink",
)
"""The groups of actions, in the order in which they are shown."""

GROUPS = (BOARD, LISTING, CHECK, ARCHIVE, APP)
NO_KEY = "no-key-"
"""Prefix of a key that no terminal sends: only a binding with a key can be given another one."""


@dataclass(frozen=True, slots=True)
class DeskAction:
    """An action: its permanent id, its key, its description and its function.

    key: "" for none. word: names it in the line of words, "" if it is only in the palette.
    letter: the letter of `word` that runs it. also: other words that find it in the palette.
    """

    id: str
    key: str
    words: str
    tooltip: str
    work: Callable[[Desk], object]
    group: str = APP
    word: str = ""
    letter: str = ""
    also: str = ""

    @property
    def binding(self) -> Binding:
        """Return the key's binding, with priority over those of widgets unless it is Escape."""
        return Binding(
            self.key or f"{NO_KEY}{self.id}",
            f"work('{self.id}')",
            self.words,
            tooltip=self.tooltip,
            id=self.id,
            priority=self.key != "escape",
        )


_KEYS = {
    "ctrl": "Ctrl",
    "shift": "Shift",
    "escape": "Escape",
    "enter": "Enter",
    "space": "Space",
    "pageup": "Page up",
    "pagedown": "Page down",
    **{key: key.capitalize() for key in ("tab", "home", "end", "up", "down", "left", "right")},
}


def key_words(key: str) -> str:
    """Return the name of a key as printed on keyboards: Ctrl+L, F1, Page up; "" for none."""
    if key.startswith(NO_KEY):
        return ""
    parts = key.split("+")
    return "+".join(_KEYS.get(part, part.upper() if len(part) < 4 else part) for part in parts)
