"""User-defined keys: the table [keys] of the settings file, which gives actions other keys."""

from __future__ import annotations

import re
from collections.abc import Mapping
from difflib import get_close_matches

from hostlink.app.actions.app_actions import EVERYWHERE
from hostlink.app.actions.screen_keys import BY_NAME, LISTING, SCREEN_KEYS
from hostlink.app.actions.table import BY_ID

_USABLE = re.compile(r"ctrl\+[a-z]|((ctrl|shift)\+)?f([1-9]|1[0-9]|2[0-4])")
_USABLE_ON_SCREENS = re.compile(rf"[a-z]|space|{_USABLE.pattern}")
_OTHERS = {
    **dict.fromkeys("hijm", "which terminals send for another key"),
    **dict.fromkeys("cvxyz", "which edits text"),
}
"""Letters that a key with Ctrl cannot have, and why (ASCII: Ctrl+H, I, J, M are control codes)."""

_KEYS = {action.id: action.key for action in BY_ID.values()} | BY_NAME
_AT_ONCE = (
    (*BY_ID, *(f"{LISTING}.{name}" for name in SCREEN_KEYS[LISTING])),
    *(
        (*(each.id for each in EVERYWHERE), *(f"{screen}.{name}" for name in names))
        for screen, names in SCREEN_KEYS.items()
        if screen != LISTING
    ),
)
"""Groups of actions whose keys must all differ: those of the desk, and of each other screen."""


def fault_in(keys: Mapping[str, str]) -> str:
    """Return what is wrong with a table of keys, as the end of a sentence; "" if it can be used.

    keys: a key by the name of its action, as Textual names keys: ctrl+l, f5, shift+f5, space.
    """
    for name, key in keys.items():
        if wrong := _fault_of(name, key):
            return wrong
    for names in _AT_ONCE:
        taken: dict[str, str] = {}
        for name in names:
            key = keys.get(name, _KEYS[name])
            if key in taken:
                return f'give the key {key} to "{taken[key]}" and to "{name}"'
            if key:
                taken[key] = name
    return ""


def _fault_of(name: str, key: str) -> str:
    """Return why an action cannot have a key, whatever keys the others have; "" if it can."""
    if name not in _KEYS:
        near = get_close_matches(name, _KEYS, 1)
        hint = f'; "{near[0]}" is one' if near else ""
        return f'give a key to "{name}", which is not an action{hint}'
    screen = name.partition(".")[0] if name in BY_NAME else LISTING
    usable = _USABLE if screen == LISTING else _USABLE_ON_SCREENS
    if not usable.fullmatch(key) and key not in SCREEN_KEYS[screen].values():
        letters = "" if screen == LISTING else "d, space, "
        return (
            f'give "{name}" the key "{key}", which is not written like {letters}ctrl+l, f5, '
            "shift+f5 or ctrl+f5"
        )
    letter = key.removeprefix("ctrl+")
    if letter != key and letter in _OTHERS:
        return f'give "{name}" the key {key}, {_OTHERS[letter]}'
    return ""
