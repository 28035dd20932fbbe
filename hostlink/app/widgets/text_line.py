"""A text input of one row, with a cursor that does not blink."""

from __future__ import annotations

from textual.widgets import Input


class TextLine(Input):
    """An input without a frame."""

    def __init__(self, value: str = "", *, id: str, empty: str = "") -> None:
        """Create the input. empty: what is shown while it has no text."""
        super().__init__(value, empty, id=id, select_on_focus=False, compact=True)
        self.cursor_blink = False
