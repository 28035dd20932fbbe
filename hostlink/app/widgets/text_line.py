"""A line to type in: one row high, and its cursor stands still, which is easier to read."""

from __future__ import annotations

from textual.widgets import Input


class TextLine(Input):
    """An input without a frame."""

    def __init__(self, value: str = "", *, id: str, empty: str = "") -> None:
        """empty: what is shown while nothing stands in it."""
        super().__init__(value, empty, id=id, select_on_focus=False, compact=True)
        self.cursor_blink = False
