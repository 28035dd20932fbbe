"""The line at the foot of a screen that says what its keys do. Each key can be clicked too."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import partial
from textwrap import wrap
from types import MappingProxyType

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.style import Style
from textual.widgets import Static

from hostlink.app.actions.action import key_words
from hostlink.app.actions.table import way_to
from hostlink.words import safe

_MOST_ROWS, _ON_LOW = 3, 1  # as in the stylesheet; on a low screen the list needs the rest


def clickable(
    words: str, bindings: Sequence[BindingType], keys: Mapping[str, str] = MappingProxyType({})
) -> Content:
    """Make the words about each key clickable, from the key to the next comma or full stop.

    bindings: the keys of a screen; other keys in the words cannot be clicked. keys: the user's own
    keys by the id of their binding, which are named in place of the usual ones.
    """
    bound = [each for each in bindings if isinstance(each, Binding)]
    own = {
        key_words(each.key): key_words(keys[each.id])
        for each in bound
        if each.id is not None and each.id in keys
    }
    if own:
        words = re.sub(_named(*own), lambda found: own[found[0]], words)
    content = Content(safe(words))
    for binding in bound:
        key = key_words(keys.get(binding.id or "", binding.key))
        found = re.search(rf"{_named(key)}[^,.;:]*", content.plain)
        if found is not None:
            content = act(content, found.start(), found.end(), f"screen.{binding.action}")
    return content


def _named(*keys: str) -> str:
    """Return a regular expression for any of these keys where a sentence says what it does."""
    return rf"(?<![\w+])({'|'.join(map(re.escape, keys))})(?= (?!or |and )[a-z])"


def act(content: Content, start: int, end: int, action: str) -> Content:
    """Return content in which a click on the characters from `start` to `end` runs an action."""
    return content.stylize(Style.from_meta({"@click": action}), start, end)


class Foot(Static):
    """The foot of a screen; where there is too little room it ends with the way to the help."""

    def __init__(
        self, words: str, bindings: Sequence[BindingType], keys: Mapping[str, str]
    ) -> None:
        super().__init__(clickable(words, bindings, keys), classes="foot", markup=False)
        self._words = self._shown = words
        self._clickable = partial(clickable, bindings=bindings, keys=keys)

    def on_resize(self) -> None:
        """Leave out what does not fit."""
        rows = _ON_LOW if self.screen.has_class("-low") else _MOST_ROWS
        shown = fit_words(
            self._words, self.content_size.width, f"{way_to('help')} shows all.", rows
        )
        if shown != self._shown:
            self._shown = shown
            # Textual 8.2 keeps the old height if it changes within a resize.
            self.call_after_refresh(self.update, self._clickable(shown))


def fit_words(words: str, width: int, rest: str, rows: int = _MOST_ROWS) -> str:
    """Return the words if they fit into some rows, else those that do and then `rest`."""
    if width < 1 or len(wrap(words, width)) <= rows:
        return words
    parts = re.findall(r"[^.,;:]+[.,;:]\s*", words)
    while parts and len(wrap("".join(parts) + rest, width)) > rows:
        parts.pop()
    return re.sub(r"[,;:]\s*$", ". ", "".join(parts)) + rest
