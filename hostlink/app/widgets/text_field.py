"""A text area for several lines: its cursor stays in the text, only line ends make rows."""

from __future__ import annotations

from textual.document._document import Document, Location
from textual.document._document_navigator import DocumentNavigator
from textual.document._wrapped_document import WrappedDocument
from textual.geometry import Size
from textual.reactive import reactive
from textual.widgets import TextArea
from textual.widgets.text_area import Edit, EditResult, Selection

from hostlink.words import split_rows


class _RowText(str):
    """A text in which only CR, LF and CR LF end a row, as in a listing.

    Textual 8.2 ends a row at form feeds and other separators too, by `splitlines`.
    """

    __slots__ = ()

    def splitlines(self, keepends: bool = False) -> list[str]:  # noqa: ARG002 - as of str
        rows = split_rows(self)
        return rows if rows[-1] else rows[:-1]


class _Text(Document):
    """A document that is measured quickly if each character takes one cell.

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
    """A document without wrapped rows, whose height is known without adding up.

    Textual 8.2 adds up all rows of a text for each one that it draws.
    """

    @property
    def height(self) -> int:
        return len(self._wrap_offsets)


class TextField(TextArea):
    """A text area whose cursor never leaves the text, and that draws only rows that changed.

    Textual 8.2 draws every row at each key: 13 kB, where one row takes a few hundred bytes.
    """

    selection = reactive(Selection(), init=False, always_update=True, repaint=False)
    _bracket_row: int | None = None  # of the bracket that is marked as the cursor's counterpart

    def watch_selection(self, before: Selection, now: Selection) -> None:
        """Draw the rows that the cursor, the selection and the marked bracket left and reached."""
        bracket = self._matching_bracket_location
        rows = [self._bracket_row, bracket[0] if bracket else None]
        self._bracket_row = rows[1]
        ends = [row for row, _ in (*before, *now)]
        self._draw_rows(min(ends), max(ends))
        for row in rows:
            if row is not None:
                self._draw_rows(row, row)

    def _draw_rows(self, first: int, last: int) -> None:
        if self.soft_wrap:
            self.refresh()
        else:
            self.refresh_lines(first, last - first + 1)

    def edit(self, edit: Edit) -> EditResult:
        """Change the text, and draw the changed rows, or all rows if there are more or fewer."""
        result = super().edit(edit)
        self._draw_rows(edit.top[0], max(edit.bottom[0], result.end_location[0]))
        return result

    def undo(self) -> None:
        """Undo the last step."""
        super().undo()
        self.refresh()

    def redo(self) -> None:
        """Redo the last step that was undone."""
        super().redo()
        self.refresh()

    def _set_document(self, text: str, language: str | None) -> None:
        super()._set_document(text, language)
        if not self.soft_wrap:
            self.document = _Text(text)
            self.wrapped_document = _Unwrapped(self.document, tab_width=self.indent_width)
            self.navigator = DocumentNavigator(self.wrapped_document)
            self._rewrap_and_refresh_virtual_size()
        self.refresh()

    def _refresh_size(self) -> None:
        """Move the cursor into the text before the size is measured.

        Undo and redo measure first and move the cursor afterwards. If the text becomes so short
        that the scroll bar goes away, the base class scrolls to the cursor at once, and fails
        where its row no longer exists.
        """
        start, end = self.selection
        self.selection = Selection(self.clamp_visitable(start), self.clamp_visitable(end))
        super()._refresh_size()
