"""The line at the foot of a screen that says what its keys do. Each key can be clicked too."""

from __future__ import annotations

import re
from collections.abc import Sequence

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.style import Style
from textual.widgets import Static

from hostlink.app.actions.action import key_words
from hostlink.words import safe


def clickable(words: str, bindings: Sequence[BindingType]) -> Content:
    """Return words in which what is said of a key, up to the next comma or stop, does as the key.

    bindings: the keys of a screen; what is not among them cannot be clicked.
    """
    content = Content(safe(words))
    for binding in bindings:
        if isinstance(binding, Binding):
            key = re.escape(key_words(binding.key))
            found = re.search(rf"(?<![\w+]){key} (?!or |and )[a-z][^,.;:]*", content.plain)
            if found is not None:
                content = act(content, found.start(), found.end(), f"screen.{binding.action}")
    return content


def act(content: Content, start: int, end: int, action: str) -> Content:
    """Return content in which a click on the characters from `start` to `end` runs an action."""
    return content.stylize(Style.from_meta({"@click": action}), start, end)


class Foot(Static):
    """The foot of a screen."""

    def __init__(self, words: str, bindings: Sequence[BindingType]) -> None:
        super().__init__(clickable(words, bindings), classes="foot", markup=False)
