"""A text area for several lines in which no change of the text leaves the cursor outside it."""

from __future__ import annotations

from textual.widgets import TextArea
from textual.widgets.text_area import Selection


class TextField(TextArea):
    """A text area whose cursor is inside the text at every moment."""

    def _refresh_size(self) -> None:
        """Move the cursor into the text before the size is measured.

        Undo and redo measure first and move the cursor afterwards. If the text becomes so short
        that the scroll bar goes away, the base class scrolls to the cursor at once, and fails
        where its row no longer exists.
        """
        start, end = self.selection
        self.selection = Selection(self.clamp_visitable(start), self.clamp_visitable(end))
        super()._refresh_size()
