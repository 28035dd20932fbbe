"""The line of words: actions of the desk in one line at its bottom, each run by one letter."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import zip_longest
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Static

from hostlink.app.actions.action import GROUPS, DeskAction
from hostlink.app.actions.table import ACTIONS, BY_ID, BY_LETTER

if TYPE_CHECKING:
    from hostlink.app.desk.desk import Desk

_GAP, _GROUP_GAP = "  ", " · "
_THE_REST = BY_ID["every-action"]


def words_that_fit(width: int) -> list[DeskAction]:
    """Return the actions whose words fit into a line of `width` columns, ordered by group.

    Each group gives its first word before any gives a second one; work with the board gives two at
    a time. The palette, where the rest is found, always has its word.
    """
    groups = [[each for each in BY_ID.values() if each.word and each.group == g] for g in GROUPS]
    ranks = zip_longest(groups[0][::2], groups[0][1::2], *groups[1:])
    shown = [_THE_REST]
    for action in (each for rank in ranks for each in rank if each is not None):
        more = [each for group in groups for each in group if each is action or each in shown]
        if len(words_in_line(more)) <= width:
            shown = more
    return shown


def words_in_line(actions: Sequence[DeskAction]) -> Content:
    """Return the words in one line, the letter of each marked, with a sign between groups."""
    line = Content("")
    group = actions[0].group if actions else ""
    for action in actions:
        if line:
            line += _GAP if action.group == group else _GROUP_GAP
        group = action.group
        at = action.word.index(action.letter)
        line += Content(action.word).stylize("bold underline", at, at + 1)
    return line


class WordsLine(ModalScreen["Callable[[Desk], object] | None"]):
    """Waits for one key or a paste; returns what to do on the desk, None for nothing.

    Escape goes to the listing. A key without a meaning only closes the line.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        action.binding for action in ACTIONS if action.key != "escape"
    ]

    def __init__(self) -> None:
        super().__init__()
        self._shown: list[DeskAction] = []

    def compose(self) -> ComposeResult:
        yield Static("", id="words", markup=False)

    def on_resize(self, event: events.Resize) -> None:
        """Show as many words as there is room for."""
        self._shown = words_that_fit(event.size.width - 2)
        self.query_one("#words", Static).update(words_in_line(self._shown))

    def action_work(self, name: str) -> None:
        """Close the line and return what the action of the pressed key does."""
        self._answer(BY_ID[name].work)

    def _answer(self, answer: Callable[[Desk], object] | None) -> None:
        """Close the line with this answer, unless an earlier key has closed it."""
        if self.is_current:
            self.dismiss(answer)

    def on_key(self, event: events.Key) -> None:
        event.stop()
        if event.key == "escape":
            self._answer(lambda desk: desk.to_listing())
        else:
            action = BY_LETTER.get((event.character or "").lower())
            self._answer(action.work if action is not None else None)

    def on_paste(self, event: events.Paste) -> None:
        event.stop()
        text = event.text
        self._answer(lambda desk: (desk.focused or desk).post_message(events.Paste(text)))

    def on_click(self, event: events.Click) -> None:
        """Do what was clicked, or close the line."""
        event.stop()
        ends = [len(words_in_line(self._shown[: place + 1])) for place in range(len(self._shown))]
        at = event.screen_x - 1  # the line's padding
        for action, end in zip(self._shown, ends, strict=True):
            if event.screen_y == self.size.height - 1 and end - len(action.word) <= at < end:
                self._answer(action.work)
                return
        self._answer(None)
