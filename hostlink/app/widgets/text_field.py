"""A text area for several lines: its cursor stays in the text, only line ends make rows."""

from __future__ import annotations

import re

from textual.document._document import Document, EditResult, Location
from textual.document._document_navigator import DocumentNavigator
from textual.document._wrapped_document import WrappedDocument
from textual.geometry import Size
from textual.widgets import TextArea
from textual.widgets.text_area import Selection


class _RowText(str):
    """A text in which only CR, LF and CR LF end a row, as in a listing.

    Textual 8.2 ends a row at form feeds and other separators too, by `splitlines`.
    """

    __slots__ = ()

    def splitlines(self, keepends: bool = False) -> list[str]:  # noqa: ARG002 - as of str
        rows = re.split("\r\n|\n|\r", self)
        return rows if rows[-1] else rows[:-1]


class _Text(Document):
    """A document that measures itself at once if each character takes one cell.

    Textual 8.2 expands and measures every row of a text at each key.
    """

    def __init__(self, text: str) -> None:
        super().__init__(_RowText(text))

    def replace_range(self, start: Location, end: Location, text: str) -> EditResult:
        return super().replace_range(start, end, _RowText(text))

    def get_size(self, tab_width: int) -> Size:
        if self.text.isascii() and "\t" not in self.text:
            return Size(max(map(len, self.lines), default=0), self.line_count)
        return super().get_size(tab_width)


class _Unwrapped(WrappedDocument):
    """A document without wrapped rows, which counts them at once.

    Textual 8.2 adds up all rows of a text for each one that it draws.
    """

    @property
    def height(self) -> int:
        return len(self._wrap_offsets)


class TextField(TextArea):
    """A text area whose cursor never leaves the text."""

    def _set_document(self, text: str, language: str | None) -> None:
        super()._set_document(text, language)
        if not self.soft_wrap:
            self.document = _Text(text)
            self.wrapped_document = _Unwrapped(self.document, tab_width=self.indent_width)
            self.navigator = DocumentNavigator(self.wrapped_document)
            self._rewrap_and_refresh_virtual_size()

    def _refresh_size(self) -> None:
        """Move the cursor into the text before the size is measured.

        Undo and redo measure first and move the cursor afterwards. If the text becomes so short
        that the scroll bar goes away, the base class scrolls to the cursor at once, and fails
        where its row no longer exists.
        """
        start, end = self.selection
        self.selection = Selection(self.clamp_visitable(start), self.clamp_visitable(end))
        super()._refresh_size()
