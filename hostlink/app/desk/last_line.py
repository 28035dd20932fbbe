"""The last line of the desk: the newest message for as long as it is true, else a hint."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from hostlink.app.actions.table import with_keys
from hostlink.app.board_words import with_revision_words
from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import SHOWS_WORDS
from hostlink.app.widgets.foot import act
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.desk.desk import Desk

HELP = "<help> help"
HINTS = (f"<words> {SHOWS_WORDS}    {HELP}", f"<words> shows all words    {HELP}")


class LastLine(DeskPart):
    """Shows one message, and removes it when its subject changes."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._told = ""
        self._about: Callable[[], object] = lambda: None
        self._then: object = None  # what _about returned when the message was shown

    def tell(
        self, sentence: str, *, of_text: bool = False, board: AttachedBoard | None = None
    ) -> None:
        """Show a message, or with "" the hint. of_text, board: see `DeskApp.tell`."""
        self._told = sentence
        self._about = partial(self._state, of_text, board)
        self._then = self._about()
        self.show()

    def check(self) -> None:
        """Remove the message if its subject has changed."""
        if self._told and self._about() != self._then:
            self.tell("")

    def untell(self, sentence: str) -> None:
        """Remove a message if it is still shown."""
        if sentence and self._told == sentence:
            self.tell("")

    def _state(self, of_text: bool, board: AttachedBoard | None) -> object:
        text = self.desk.editor.text if of_text else ""
        if board is None:
            return text
        held = dataclasses.replace(self.desk.states.held(board.port), proven_at=None)
        job = board.busy.name if board.busy is not None and board.busy.shown else ""
        is_current = board is self.app.boards.current
        return text, held, board.state.activity, board.vanished, job, is_current

    def show(self) -> None:
        """Draw the line, as wide as the desk is now."""
        width, help_words = self.desk.size.width - 2, with_keys(HELP)
        text = with_revision_words(safe(self._told.replace("\n", " ")))
        room = width - len(help_words)
        if text and len(text) < room - 2:
            text = f"{text:<{room}}{help_words}"
        hint, brief = map(with_keys, HINTS)
        content = Content(text or (hint if len(hint) <= width else brief))
        help_at = len(content) - len(help_words)
        if content.plain.endswith(help_words):
            content = act(content, help_at, len(content), "app.help")
        if not text:
            content = act(content, 0, help_at, "screen.work('words')")
        for told in self.desk.query("#told").results(Static):  # none before the first drawing
            told.update(content)
