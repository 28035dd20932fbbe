"""The heading of a part of the desk. It shows by a sign and a colour whether keys go there."""

from __future__ import annotations

from rich.cells import cell_len
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Static

from hostlink.words import safe

HERE, ELSEWHERE = "▸ ", "  "


class Heading(Static):
    """The heading of the Vertical that contains it.

    It has the class `-here` and the sign ▸ while keys go to that Vertical: the focus is within it,
    and no other screen is in front. Both are set from the screen's `focused`: Textual does not
    always evaluate `:focus-within` anew.
    """

    def __init__(self, words: str = "", *, id: str | None = None) -> None:
        super().__init__("", id=id, classes="heading", markup=False)
        self._words: tuple[str, ...] = (words,)

    def on_mount(self) -> None:
        self.watch(self.screen, "focused", self.follow_focus)

    def say(self, *words: str) -> None:
        """Show the first of these texts for which there is room."""
        self._words = words
        self.follow_focus()

    def on_resize(self) -> None:
        """Choose the words again."""
        self.follow_focus()

    def on_click(self) -> None:
        """Move the focus to the part of the desk under this heading."""
        pane = next(one for one in self.ancestors if isinstance(one, Vertical))
        for line in pane.query("Input, TextArea"):
            line.focus()
            return

    def follow_focus(self) -> None:
        """Show whether keys go here."""
        focused = self.screen.focused if self.app.screen_stack[-1:] == [self.screen] else None
        pane = next(one for one in self.ancestors if isinstance(one, Vertical))
        here = focused is not None and pane in focused.ancestors_with_self
        self.set_class(here, "-here")
        texts = [(HERE if here else ELSEWHERE) + safe(words) for words in self._words]
        room = self.size.width
        shown = Content(next((one for one in texts if cell_len(one) <= room), texts[-1]))
        if shown != self.content:
            self.update(shown, layout=self.styles.auto_dimensions)
