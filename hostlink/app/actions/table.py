"""Every action of the desk: one table for keys, words, palette, help and settings."""

from __future__ import annotations

import re
from collections.abc import Mapping

from hostlink.app.actions.action import APP, ARCHIVE, DeskAction, key_words
from hostlink.app.actions.archive_actions import ARCHIVE_ACTIONS
from hostlink.app.actions.board_actions import BOARD_ACTIONS
from hostlink.app.actions.listing_actions import LISTING_ACTIONS
from hostlink.app.actions.screen_keys import BY_NAME

ACTIONS = (
    *BOARD_ACTIONS,
    *LISTING_ACTIONS,
    DeskAction(
        "find",
        "",
        "Find in the archive",
        "By name, title, tag or a line",
        lambda desk: desk.to_archive(),
        ARCHIVE,
        word="archive",
        letter="a",
        also="search programs library list browse shelf",
    ),
    DeskAction(
        "history",
        "",
        "Revisions",
        "All revisions of the program",
        lambda desk: desk.screens.revisions(),
        ARCHIVE,
        word="revisions",
        letter="v",
        also="history versions older earlier undo retire restore",
    ),
    DeskAction(
        "compare-board",
        "",
        "Compare with the board",
        "Line by line",
        lambda desk: desk.comparing.compare(""),
        ARCHIVE,
        also="difference diff changes same",
    ),
    DeskAction(
        "give",
        "",
        "Give listings out",
        "As files or as one zip file",
        lambda desk: desk.workshop.give(),
        ARCHIVE,
        also="export share zip files write",
    ),
    DeskAction(
        "sheet",
        "",
        "Write a listing sheet",
        "To type from, with codes",
        lambda desk: desk.workshop.sheet(),
        ARCHIVE,
        also="print paper page publish html",
    ),
    DeskAction(
        "card",
        "",
        "Write the board's card",
        "Its words and limits",
        lambda desk: desk.workshop.card(),
        ARCHIVE,
        also="print reference page html commands help",
    ),
    DeskAction(
        "publish",
        "",
        "Publish programs",
        "As a booklet to print, or as a web site",
        lambda desk: desk.screens.publish(),
        ARCHIVE,
        also="booklet book site web html print pages internet",
    ),
    *ARCHIVE_ACTIONS,
    DeskAction(
        "settings",
        "",
        "Settings",
        "Theme, default port and profile",
        lambda desk: desk.screens.settings(),
        APP,
        also="options preferences theme colours dark light configure",
    ),
    DeskAction(
        "quiet",
        "",
        "Only listing and console",
        "Large, as for a projector; again: everything",
        lambda desk: desk.space.toggle_quiet(),
        APP,
        also="projector beamer show class screen zoom hide",
    ),
    DeskAction(
        "big-console",
        "",
        "Large console",
        "Most of the screen; again: its usual place",
        lambda desk: desk.space.enlarge_console(),
        APP,
        also="tall big enlarge output",
    ),
    DeskAction(
        "answer",
        "f6",
        "Open the question that waits",
        "Or the result; it came while you typed",
        lambda desk: desk.questions.answer(),
        APP,
        also="reply dialogue error pending",
    ),
    DeskAction(
        "words",
        "escape",
        "Words for all jobs",
        "Then one letter; Escape again goes to the listing",
        lambda desk: desk.show_words(),
        APP,
        also="menu letters back listing",
    ),
)

EVERYWHERE = (
    DeskAction(
        "every-action",
        "f2",
        "Every action",
        "Find an action by its words",
        lambda desk: desk.app.action_every_action(),
        APP,
        word="every action",
        letter="y",
        also="palette commands menu",
    ),
    DeskAction(
        "help",
        "f1",
        "Help",
        "All keys of this screen",
        lambda desk: desk.app.action_help(),
        APP,
        also="keys shortcuts manual",
    ),
    DeskAction(
        "leave",
        "ctrl+q",
        "Leave",
        "Close hostlink",
        lambda desk: desk.app.action_leave(),
        APP,
        word="quit",
        letter="q",
        also="quit exit close end",
    ),
)
"""What can be done on every screen; the app itself has the bindings of these."""

BY_ID = {action.id: action for action in (*ACTIONS, *EVERYWHERE)}
BY_LETTER = {action.letter: action for action in BY_ID.values() if action.letter}


_ID = re.compile(r"<([a-z.-]+)>")
_own_keys: dict[str, str] = {}


def use_keys(keys: Mapping[str, str]) -> None:
    """Use these keys of the user's own from now on, by the names of actions, and no others."""
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
    """Return how one gets from anywhere on the desk to the listing, as it begins a sentence."""
    words = way_to("words")
    return "Escape twice" if words == "Escape" else f"{words}, then Escape"


def with_keys(text: str) -> str:
    """Return a text in which each name of an action, as <load>, is how that is reached."""
    return _ID.sub(lambda found: way_to(found[1]), text)
