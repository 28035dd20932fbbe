"""The keys of the screens other than the desk, and of the editor, in one table.

The settings check [keys] against it without importing a screen, and each screen makes its bindings
from it. Escape, Enter, Tab and the keys that move through a list or a dialogue are not in it: they
mean the same everywhere and cannot be changed.
"""

from __future__ import annotations

from textual.binding import Binding

LISTING = "listing"
SCREEN_KEYS: dict[str, dict[str, str]] = {
    LISTING: {
        "start": "ctrl+home",
        "end": "ctrl+end",
        "select-to-start": "ctrl+shift+home",
        "select-to-end": "ctrl+shift+end",
    },
    "backups": {"mark": "space", "open": "o"},
    "boards": {
        "detach": "d",
        "label": "l",
        "meet": "m",
        "other": "o",
        "survey": "s",
        "view-survey": "v",
        "renew": "a",
    },
    "class": {
        "hand-out": "h",
        "own": "n",
        "collect": "g",
        "late": "w",
        "page": "p",
        "folders": "o",
        "stop": "x",
        "renew": "a",
    },
    "compare": {"fold": "space"},
    "findings": {"silence": "space"},
    "firmware": {"write": "w", "back": "g", "stop": "s"},
    "meeting": {"restart": "r"},
    "mending": {"turn": "space", "unfold": "right", "fold": "left"},
    "rescues": {"keep": "k", "load": "ctrl+l", "compare-board": "b"},
    "revisions": {
        "load": "ctrl+l",
        "compare-board": "b",
        "mark": "space",
        "compare": "c",
        "origins": "o",
        "restore": "r",
        "note": "n",
        "printed": "p",
        "retire": "t",
    },
    "runs": {"mark": "space", "compare": "c", "file": "f"},
    "several": {
        "mark": "space",
        "load": "l",
        "save": "g",
        "backup": "k",
        "stop": "x",
        "boards": "a",
    },
    "stepping": {
        "line": "l",
        "here": "h",
        "on": "o",
        "back": "z",
        "again": "a",
        "pin": "p",
        "switch": "space",
        "less": "left",
        "more": "right",
    },
    "stored": {"store": "s", "renew": "a"},
    "survey": {"keep": "k", "details": "e"},
}
"""The key of each action, by screen; LISTING is the editor on the desk, where letters are text."""

BY_NAME = {
    f"{screen}.{name}": key for screen, keys in SCREEN_KEYS.items() for name, key in keys.items()
}
"""The key of each action by its lasting name, such as boards.detach."""


def screen_key(
    name: str, words: str, tooltip: str = "", *, action: str = "", show: bool = True
) -> Binding:
    """Return the binding of an action in the table, to which the settings can give another key.

    name: its name, such as boards.detach. action: what it runs; "" for the method action_detach.
    """
    run = action or name.partition(".")[2].replace("-", "_")
    return Binding(BY_NAME[name], run, words, tooltip=tooltip, id=name, show=show)
