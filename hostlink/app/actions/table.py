"""Every action of the desk: one table for keys, words, palette, help and settings."""

from __future__ import annotations

import re
from collections.abc import Mapping

from hostlink.app.actions.action import key_words
from hostlink.app.actions.app_actions import APP_ACTIONS, EVERYWHERE
from hostlink.app.actions.archive_actions import ARCHIVE_ACTIONS
from hostlink.app.actions.board_actions import BOARD_ACTIONS
from hostlink.app.actions.listing_actions import LISTING_ACTIONS
from hostlink.app.actions.screen_keys import BY_NAME

ACTIONS = (*BOARD_ACTIONS, *LISTING_ACTIONS, *ARCHIVE_ACTIONS, *APP_ACTIONS)
BY_ID = {action.id: action for action in (*ACTIONS, *EVERYWHERE)}
BY_LETTER = {action.letter: action for action in BY_ID.values() if action.letter}


_ID = re.compile(r"<([a-z.-]+)>")
_own_keys: dict[str, str] = {}


def use_keys(keys: Mapping[str, str]) -> None:
    """Use the keys that the user has set, given by action, in place of earlier ones."""
    _own_keys.clear()
    _own_keys.update(keys)


def way_to(name: str) -> str:
    """Return how an action is reached, as it follows "with": Ctrl+L; Escape, then M.

    name: the id of an action, or of one of another screen.
    """
    if name in BY_NAME:
        return key_words(_own_keys.get(name, BY_NAME[name]))
    action = BY_ID[name]
    if key := _own_keys.get(name, action.key):
        return key_words(key)
    if action.letter:
        return f"{way_to('words')}, then {action.letter.upper()}"
    return f"{way_to('every-action')}, then “{action.words}”"


def way_back() -> str:
    """Return the keys that lead from anywhere on the desk to the listing, to begin a sentence."""
    words = way_to("words")
    return "Escape twice" if words == "Escape" else f"{words}, then Escape"


def with_keys(text: str) -> str:
    """Replace each name of an action in a text, such as <load>, with how it is reached."""
    return _ID.sub(lambda found: way_to(found[1]), text)
