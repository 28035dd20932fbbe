"""A list of rows with headed columns that stays fast with tens of thousands of rows.

Only the rows on the screen are drawn. Cells are plain text. The row at the cursor is marked with
a sign as well as by its style, so that it can be seen without colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import ClassVar

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.message import Message
from textual.reactive import reactive
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.widget import Widget

from hostlink.words import safe

_MARK, _MARK_ELSEWHERE, _NO_MARK = "▸ ", "· ", "  "
# Rows that are measured in cells, and rows of which at least the characters are counted. To measure
# a hundred thousand would delay a key.
_EXACT, _COUNTED = 200, 10_000
_LEAST = 8  # cells that are left of a column that gives way
_LEGIBLE = 10  # cells that such a column keeps, if it needs them, while extra ones can be dropped


def go_between(event: events.Key, line: Widget, rows: Rows) -> None:
    """Go from a line to the list below it with Down, and from its first row back with Up."""
    if event.key == "down" and line.has_focus and rows.key:
        rows.focus()
    elif event.key == "up" and rows.has_focus and rows.cursor == 0:
        line.focus()
    else:
        return
    event.stop()
    event.prevent_default()


@dataclass(frozen=True, slots=True)
class ListColumn:
    """A column of a list, as wide as its content and its head.

    width: at least so many cells, -1 for a column that gives way first where room is short. right:
    align its cells to the right. extra: shown only where it has content and the list has room.
    """

    head: str
    width: int = 0
    right: bool = False
    extra: bool = False


def column_widths(columns: Sequence[ListColumn], wanted: Sequence[int], room: int) -> list[int]:
    """Return the cells of each column, 0 for one that is not shown.

    Nothing is shortened while there is room. If there is not, the columns that give way shrink to
    _LEAST cells, extra ones first. Extra columns are dropped, the last one first, before any other
    gets fewer than _LEGIBLE cells. In the end every column may be shortened. wanted: cells of each
    column's content. room: cells for all columns with a blank between two.
    """
    widths = [min(width, room) for width in wanted]
    giving = [at for at, column in enumerate(columns) if column.width < 0]
    extra = [at for at, column in enumerate(columns) if column.extra]

    def over(saved: int = 0) -> int:
        return sum(width + 1 for width in widths if width) - 1 - saved - room

    least = {at: _LEAST if columns[at].extra else _LEGIBLE for at in giving}
    while extra and over(sum(max(0, widths[at] - least[at]) for at in giving)) > 0:
        widths[extra.pop()] = 0
    for some in ([at for at in giving if at in extra], giving, range(len(widths))):
        while over() > 0 and (able := [at for at in some if widths[at] > _LEAST]):
            widths[max(able, key=widths.__getitem__)] -= 1
    return widths


@dataclass(frozen=True, slots=True)
class Entry:
    """A row: its key and its cells."""

    key: str
    cells: tuple[str, ...]


class Rows(ScrollView, can_focus=True):
    """A list of rows to move through and choose from."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"rows--head", "rows--cursor", "rows--empty"}
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "go(-1)", "One up", show=False),
        Binding("down", "go(1)", "One down", show=False),
        Binding("pageup", "page(-1)", "A page up", show=False),
        Binding("pagedown", "page(1)", "A page down", show=False),
        Binding("home", "edge(0)", "First", show=False),
        Binding("end", "edge(1)", "Last", show=False),
        Binding("enter", "choose", "Choose", show=False),
    ]

    cursor: reactive[int] = reactive(0)

    class AtRow(Message):
        """A message about a row. key: of the row, "" if the list is empty."""

        def __init__(self, rows: Rows, key: str) -> None:
            super().__init__()
            self.rows, self.key = rows, key

        @property
        def control(self) -> Rows:
            """Return the list that sent the message."""
            return self.rows

    class Chosen(AtRow):
        """A row was chosen by Enter or a click on the row at the cursor."""

    class Moved(AtRow):
        """The cursor moved to another row."""

    def __init__(
        self, columns: Sequence[ListColumn], *, empty: str = "", id: str | None = None
    ) -> None:
        super().__init__(id=id)
        self.columns = tuple(columns)
        self.empty = empty
        self.entries: list[Entry] = []
        self._widths = [max(4, column.width) for column in self.columns]
        self._gap = " "  # between two columns

    def show(self, entries: Sequence[Entry], *, stay: bool = True) -> None:
        """Replace the rows. stay: keep the cursor on its row if that still exists."""
        here = self.key if stay else ""
        self.entries = list(entries)
        place = next((at for at, one in enumerate(self.entries) if one.key == here), 0)
        self._measure()
        self.set_reactive(Rows.cursor, place)
        self._follow()
        self.refresh()
        if self.key != here:
            self.post_message(self.Moved(self, self.key))

    @property
    def key(self) -> str:
        """Return the key of the row at the cursor, "" if there is none."""
        return self.entries[self.cursor].key if self.cursor < len(self.entries) else ""

    # --- drawing -------------------------------------------------------------------------------

    def _measure(self) -> None:
        """Compute the column widths."""
        wanted = [self._width_of(at) for at in range(len(self.columns))]
        room = self.size.width - len(_MARK) - 1  # a scrollbar may come
        self._widths = column_widths(self.columns, wanted, room)
        shown = sum(width > 0 for width in self._widths)
        is_wide = sum(self._widths) + 2 * (shown - 1) <= room
        self._gap = "  " if is_wide else " "
        self.virtual_size = Size(self.size.width, len(self.entries) + 1)

    def _width_of(self, at: int) -> int:
        """Return the width of a column's content and head, 0 for an extra one without content."""
        column = self.columns[at]
        widest = max((cell_len(safe(one.cells[at])) for one in self.entries[:_EXACT]), default=0)
        widest = max([widest, *[len(one.cells[at]) for one in self.entries[_EXACT:_COUNTED]]])
        return (
            0 if column.extra and not widest else max(cell_len(column.head), widest, column.width)
        )

    def on_resize(self) -> None:
        self._measure()
        self._follow()

    def _row_text(self, cells: Sequence[str]) -> str:
        """Return a row; a cell that is too long also takes the empty ones after it."""
        parts: list[str] = []
        columns = [at for at, width in enumerate(self._widths) if width]
        while columns:
            at = columns.pop(0)
            width, shown = self._widths[at], safe(cells[at])
            size = cell_len(shown)
            while size > width and columns and not cells[columns[0]]:
                width += len(self._gap) + self._widths[columns.pop(0)]
            if self.columns[at].right and size < width:
                shown = " " * (width - size) + shown
            elif size > width:
                shown = f"{set_cell_size(shown, width - 1)}…"
            parts.append(set_cell_size(shown, width))
        return self._gap.join(parts)

    def render_line(self, y: int) -> Strip:
        width = self.size.width
        base = self.rich_style
        if y == 0:
            head = self.get_component_rich_style("rows--head")
            text = _NO_MARK + self._row_text([column.head for column in self.columns])
            return self._strip(text, head, width)
        place = y - 1 + self.scroll_offset.y
        if not self.entries:
            words = [*wrap(self.empty, max(1, width - 2)), *[""] * y]
            return self._strip(
                f"  {words[y - 1]}", self.get_component_rich_style("rows--empty"), width
            )
        if place >= len(self.entries):
            return Strip.blank(width, base)
        here = place == self.cursor
        mark = (_MARK if self.has_focus else _MARK_ELSEWHERE) if here else _NO_MARK
        text = mark + self._row_text(self.entries[place].cells)
        if here and self.has_focus:
            return self._strip(text, self.get_component_rich_style("rows--cursor"), width)
        return self._strip(text, self.row_style(place, base), width)

    def row_style(self, place: int, base: Style) -> Style:  # noqa: ARG002 - for kinds of list
        """Return the style of a row without the cursor, by default that of the list."""
        return base

    @staticmethod
    def _strip(text: str, style: Style, width: int) -> Strip:
        return Strip([Segment(set_cell_size(text, width), style)], width)

    # --- moving --------------------------------------------------------------------------------

    def validate_cursor(self, place: int) -> int:
        """Limit the cursor to the rows that exist."""
        return max(0, min(place, len(self.entries) - 1))

    def watch_cursor(self, before: int, after: int) -> None:
        if before != after:
            self._follow()
            self.refresh()
            self.post_message(self.Moved(self, self.key))

    def _follow(self) -> None:
        """Scroll until the row at the cursor and the heading above it are visible."""
        room = max(1, self.size.height - 1)
        top = self.scroll_offset.y
        if self.cursor < top or self.cursor >= top + room:
            target = self.cursor if self.cursor < top else self.cursor - room + 1
            self.scroll_to(y=target, animate=False, force=True, immediate=True)

    def action_go(self, by: int) -> None:
        self.cursor += by

    def action_page(self, way: int) -> None:
        self.cursor += way * max(1, self.size.height - 2)

    def action_edge(self, end: int) -> None:
        self.cursor = len(self.entries) - 1 if end else 0

    def action_choose(self) -> None:
        if self.key:
            self.post_message(self.Chosen(self, self.key))

    def on_click(self, event: events.Click) -> None:
        place = event.y - 1 + self.scroll_offset.y
        if event.y < 1 or not 0 <= place < len(self.entries):
            return
        if place == self.cursor:
            self.action_choose()
        self.cursor = place

    def watch_has_focus(self, value: bool) -> None:
        super().watch_has_focus(value)
        self.refresh()
