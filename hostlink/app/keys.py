"""Keys of one's own: the table [keys] of the settings file, which gives actions other keys."""

from __future__ import annotations

import re
from collections.abc import Mapping
from difflib import get_close_matches

from hostlink.app.actions.table import BY_ID

_USABLE = re.compile(r"ctrl\+[a-z]|((ctrl|shift)\+)?f([1-9]|1[0-9]|2[0-4])")
_OTHERS = {
    **dict.fromkeys("hijm", "which terminals send for another key"),
    **dict.fromkeys("cvxyz", "which edits text"),
}
"""Letters that a key with Ctrl cannot have, and why (ASCII: Ctrl+H, I, J, M are control codes)."""


def fault_in(keys: Mapping[str, str]) -> str:
    """Return what is wrong with a table of keys, as the end of a sentence; "" if it can be used.

    keys: a key by the id of its action, as Textual names keys: ctrl+l, f5, shift+f5.
    """
    for name, key in keys.items():
        if name not in BY_ID:
            near = get_close_matches(name, BY_ID, 1)
            hint = f'; "{near[0]}" is one' if near else ""
            return f'give a key to "{name}", which is no action{hint}'
        if not _USABLE.fullmatch(key):
            return (
                f'give "{name}" the key "{key}", which is not of the form ctrl+l, f5, shift+f5 '
                "or ctrl+f5"
            )
        if (why := _OTHERS.get(key.removeprefix("ctrl+"))) is not None:
            return f'give "{name}" the key {key}, {why}'
    taken: dict[str, str] = {}
    for name, action in BY_ID.items():
        key = keys.get(name, action.key)
        if key in taken:
            return f'give the key {key} to "{taken[key]}" and to "{name}"'
        if key:
            taken[key] = name
    return ""
