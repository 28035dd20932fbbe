"""The actions on hostlink itself, on the desk and on every screen."""

from __future__ import annotations

from hostlink.app.actions.action import DeskAction

APP_ACTIONS = (
    DeskAction(
        "settings",
        "",
        "Settings",
        "Theme, default port and profile",
        lambda desk: desk.screens.settings(),
        also="options preferences theme colours dark light configure",
    ),
    DeskAction(
        "quiet",
        "f5",
        "Only listing and console",
        "Large, for a projector; again: show everything",
        lambda desk: desk.space.toggle_quiet(),
        also="projector beamer show class screen zoom hide",
    ),
    DeskAction(
        "big-console",
        "",
        "Large console",
        "Most of the screen; again: its usual size",
        lambda desk: desk.space.enlarge_console(),
        also="tall big enlarge output",
    ),
    DeskAction(
        "answer",
        "f6",
        "Open the waiting question",
        "Or the result that came while you typed",
        lambda desk: desk.questions.answer(),
        also="reply dialogue error pending",
    ),
    DeskAction(
        "words",
        "escape",
        "Words for all jobs",
        "Then one letter; Escape again goes to the listing",
        lambda desk: desk.show_words(),
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
        also="keys shortcuts manual",
    ),
    DeskAction(
        "leave",
        "ctrl+q",
        "Leave",
        "Close hostlink",
        lambda desk: desk.app.action_leave(),
        word="quit",
        letter="q",
        also="quit exit close end",
    ),
)
"""What can be done on every screen; the app itself has the bindings of these."""
