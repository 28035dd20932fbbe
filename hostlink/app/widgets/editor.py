"""The listing's editor, coloured by our own scanner, with each finding in words at its line."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import TYPE_CHECKING, ClassVar

from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from textual import events
from textual.binding import BindingType
from textual.geometry import Region, Size
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip
from textual.theme import Theme
from textual.widget import Widget
from textual.widgets.text_area import Selection, TextAreaTheme

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.placing import RowEnd, with_line_feeds
from hostlink.app.themes import THEMES
from hostlink.app.widgets.text_field import TextField
from hostlink.words import SENT, USED, safe

if TYPE_CHECKING:
    from textual.document._document import Location

    from hostlink.listing import Finding, Language, LedgerRow, Rules
    from hostlink.listing.rules import Form


class ListingEditor(TextField):
    """A text area for one listing. A paste of several lines is posted as `Pasted`, not inserted."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "listing--keyword",
        "listing--quoted",
        "listing--number",
        "listing--remark",
        "listing--jump",
        "listing--finding",
        "listing--fault",
        "listing--found",
    }
    # A line in which a program stopped with an error, and the board's words; marked while the line
    # is unchanged.
    fault: reactive[tuple[str, str] | None] = reactive(None)
    # Where a searched text begins and its length; marked until the cursor leaves its beginning. It
    # is not selected, since the next key would overwrite it.
    found: reactive[tuple[Location, int] | None] = reactive(None)
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("listing.start", "Start of the listing", action="edge(0)", show=False),
        screen_key("listing.end", "End of the listing", action="edge(1)", show=False),
        screen_key(
            "listing.select-to-start", "Select to the start", action="edge(0, True)", show=False
        ),
        screen_key(
            "listing.select-to-end", "Select to the end", action="edge(1, True)", show=False
        ),
    ]

    class Refused(Message):
        """A character was typed that the board cannot hold."""

        def __init__(self, character: str) -> None:
            super().__init__()
            self.character = character

    class Pasted(Message):
        """Several lines were pasted."""

        def __init__(self, text: str) -> None:
            super().__init__()
            self.text = text

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__("", id=id, soft_wrap=False, show_line_numbers=False, tab_behavior="focus")
        self.cursor_blink = False
        self._row_end = RowEnd()
        self._taken = ""  # what was cut or copied last from this listing
        self._has_whole_line = False  # that is a whole line, cut with nothing selected
        self.listing_language: Language | None = None  # none is known before the first review
        self.form: Form | None = None
        self.findings: Mapping[int, Sequence[Finding]] = {}

    def on_mount(self) -> None:
        for theme in THEMES:
            self.register_theme(_editor_theme(theme))
        self.watch(self.app, "theme", self._use_theme)
        self.watch(self, "selection", self._leave_found, init=False)

    def _use_theme(self, name: str) -> None:
        self.theme = f"listing-{name}"
        self._line_cache.clear()

    def show_findings(self, findings: Mapping[int, Sequence[Finding]], rules: Rules) -> None:
        """Show what the review found by the board's rules; findings by their row from 0."""
        language, self.form = rules.language, rules.form
        if findings != self.findings or language != self.listing_language:
            self.findings = findings
            self.listing_language = language
            self._line_cache.clear()
            self.refresh()

    def watch_fault(self) -> None:
        """Redraw the marked line."""
        self._line_cache.clear()

    def watch_found(self) -> None:
        """Redraw the marked text."""
        self._line_cache.clear()

    def show_found(self, place: Location, length: int) -> None:
        """Put the cursor where a searched text begins, and mark the text."""
        self.move_cursor(place)
        self.found = (place, length)

    def _leave_found(self) -> None:
        if self.found is not None and self.selection != Selection.cursor(self.found[0]):
            self.found = None

    def has_fault(self, row: int) -> bool:
        """Return whether a row is marked with an error of the board."""
        if self.fault is None or row >= self.document.line_count:
            return False
        return self.document.get_line(row) == self.fault[0]

    def get_line(self, line_index: int) -> Text:
        """Return a line with its colours, followed by what the review found there."""
        typed = self.document.get_line(line_index)
        # A control character is shown as one cell, so that the cursor stays where it seems to be.
        shown = "".join(one if one.isprintable() or one == "\t" else "·" for one in typed)
        text = Text(shown, end="", no_wrap=True)
        if not typed:
            return text  # the first drawing has no text, and needs nothing else loaded
        from hostlink.app.widgets.colouring import coloured

        for start, end, name in coloured(typed, self.listing_language):
            text.stylize(self.get_component_rich_style(f"listing--{name}"), start, end)
        if self.found is not None and self.found[0][0] == line_index:
            start = self.found[0][1]
            style = self.get_component_rich_style("listing--found", partial=True)
            text.stylize(style, start, start + self.found[1])
        if self.fault is not None and self.has_fault(line_index):
            style = self.get_component_rich_style("listing--fault")
            text.append(f"  × stopped here: {safe(self.fault[1])}", style)
        found = self.findings.get(line_index)
        if found:
            words = f"  « {', '.join(one.rule.replace('-', ' ') for one in found)}"
            text.append(words, self.get_component_rich_style("listing--finding"))
        return text

    def action_edge(self, end: int, select: bool = False) -> None:
        """Put the cursor at the start (0) or the end (1) of the listing."""
        self.move_cursor(self.document.end if end else (0, 0), select=select)

    async def _on_key(self, event: events.Key) -> None:
        """Type only what the board can hold; Alt and a letter may arrive as an accented letter."""
        is_taken = not self._row_end.is_second(event)
        if event.is_printable and event.character and self.form is not None:
            from hostlink.listing.charset import accepts_character

            if not accepts_character(event.character, self.form):
                self.post_message(self.Refused(event.character))
                is_taken = False
        if is_taken:
            await super()._on_key(event)
        else:
            event.stop()
            event.prevent_default()

    async def _on_paste(self, event: events.Paste) -> None:
        event.prevent_default()
        event.stop()
        self._take_paste(with_line_feeds(event.text))

    def action_paste(self) -> None:
        """Paste text that was copied in the app."""
        self._take_paste(self.app.clipboard)

    def action_cut(self) -> None:
        """Cut what is selected, or the line at the cursor."""
        self._has_whole_line = self.selection.is_empty
        super().action_cut()
        self._taken = self.app.clipboard

    def action_copy(self) -> None:
        """Copy what is selected."""
        super().action_copy()
        self._has_whole_line = False
        self._taken = self.app.clipboard

    def undo(self) -> None:
        """Undo the last step, and leave nothing selected that the next paste would replace."""
        super().undo()
        self.selection = Selection.cursor(self.selection.end)

    def load_text(self, text: str) -> None:
        """Show another listing; a paste of text cut from the previous one counts as foreign."""
        self._taken = ""
        super().load_text(text)

    def _take_paste(self, text: str) -> None:
        """Insert a single line, or what was cut or copied here; else post the text as `Pasted`."""
        rows = [row for row in text.split("\n") if row.strip()]
        if len(rows) < 2 or text == self._taken:
            self.insert_whole(text)
        else:
            self.post_message(self.Pasted(text))

    def insert_whole(self, text: str) -> None:
        """Insert text at the cursor in place of the selection, or a cut line above the cursor's.

        One undo takes it back.
        """
        self.history.checkpoint()
        if self._has_whole_line and text == self._taken and self.selection.is_empty:
            row = self.cursor_location[0]
            self.insert(text if text.endswith("\n") else f"{text}\n", (row, 0))
        elif result := self._replace_via_keyboard(text, *self.selection):
            self.move_cursor(result.end_location)
        self.history.checkpoint()

    def validate_virtual_size(self, size: Size) -> Size:
        """Return the size at least as wide as the view, so that findings are not cut off.

        If it were narrower first, it would change twice at each key and lay out the screen anew.
        """
        return Size(max(size.width, self.scrollable_content_region.width), size.height)


def _editor_theme(theme: Theme) -> TextAreaTheme:
    """Return the editor's theme; the line at the cursor keeps its syntax colours."""
    if theme.ansi:
        return TextAreaTheme(
            f"listing-{theme.name}",
            cursor_line_style=Style.null(),
            selection_style=Style(reverse=True),
            bracket_matching_style=Style(underline=True),  # a shade would be white on white
        )
    return TextAreaTheme(
        f"listing-{theme.name}",
        cursor_line_style=Style(bgcolor=theme.boost),
        selection_style=Style(bgcolor=theme.variables["input-selection-background"]),
    )


class LedgerColumn(Widget):
    """The two columns to the right of the listing: what each line costs, and the total so far.

    A line with a finding has "!" in front; a line that is not stored says why instead of a cost.
    A thin bar follows a line that a load has sent, a thick one a line that is proven.
    """

    HEAD = "  cost  so far  "
    WIDTH = len(HEAD)
    COMPONENT_CLASSES: ClassVar[set[str]] = {"ledger--here", "ledger--over", "ledger--unstored"}

    def __init__(self, editor: ListingEditor, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._editor = editor
        self._rows: Mapping[int, LedgerRow] = {}
        self._marked: Mapping[int, Sequence[Finding]] = {}
        self._limit = 0
        self._sent: Mapping[int, str] = {}
        self._done: Container[int] = ()
        self._proven = False

    def on_mount(self) -> None:
        self.watch(self._editor, "scroll_y", self._moved, init=False)
        self.watch(self._editor, "fault", self._moved, init=False)
        self.watch(self._editor, "selection", self._cursor_moved, init=False)

    def _moved(self) -> None:
        self.refresh()

    def _cursor_moved(self, before: Selection, now: Selection) -> None:
        top = self._editor.scroll_offset.y
        rows = {before.end[0] - top, now.end[0] - top}
        self.refresh(*(Region(0, row, self.size.width, 1) for row in rows))

    def show(
        self, rows: Sequence[LedgerRow], limit: int, marked: Mapping[int, Sequence[Finding]]
    ) -> None:
        """Show the costs of the lines. limit: bytes that the board has for them, 0 if unknown."""
        self._rows = {row.line.at - 1: row for row in rows}
        self._limit = limit
        self._marked = marked
        self.refresh()

    def on_click(self, event: events.Click) -> None:
        """Put the editor's cursor on the line whose cost was clicked."""
        row = event.y + self._editor.scroll_offset.y
        if row < self._editor.document.line_count:
            self._editor.move_cursor((row, 0))
        self._editor.focus()

    def mark(self, lines: Mapping[int, str], sent: Container[int], *, proven: bool) -> None:
        """Mark the lines that are on the board, unless they were changed in the editor since.

        lines: the listing that a load sends, by line number. sent: the numbers of those that were
        sent. proven: whether they were also read back as they are.
        """
        self._sent, self._done, self._proven = lines, sent, proven
        self.refresh()

    def _sign(self, row: LedgerRow) -> str:
        number = row.line.number
        if number is None or number not in self._done or self._sent.get(number) != row.line.typed:
            return " "
        return USED if self._proven else SENT

    def legend_at(self, place: int) -> str:
        """Return what the bar after a line's costs means, "" if there is none."""
        row = self._rows.get(place)
        sign = self._sign(row) if row is not None else ""
        return {
            USED: f"{USED} The board holds this line.",
            SENT: f"{SENT} This line was sent, but has not been read back yet.",
        }.get(sign, "")

    def text_at(self, place: int) -> str:
        """Return the two columns beside a row of the listing, counted from 0."""
        row = self._rows.get(place)
        mark = "!" if place in self._marked else " "
        if self._editor.has_fault(place):
            mark = "×"
        if row is None:
            return mark.ljust(self.WIDTH)
        if row.standing != "stored":
            return f"{mark} {row.standing}".ljust(self.WIDTH)
        if self.size.width < self.WIDTH:
            return f"{mark}{row.cost:>5} {self._sign(row)}"
        return f"{mark}{row.cost:>5}{row.so_far:>8,} {self._sign(row)}"

    def render_line(self, y: int) -> Strip:
        place = y + self._editor.scroll_offset.y
        row = self._rows.get(place)
        style = self.rich_style
        if row is not None and row.standing != "stored":
            style = self.get_component_rich_style("ledger--unstored")
        elif row is not None and self._limit and row.so_far > self._limit:
            style = self.get_component_rich_style("ledger--over")
        if place == self._editor.cursor_location[0]:
            style = style + self.get_component_rich_style("ledger--here", partial=True)
        return Strip([Segment(self.text_at(place), style)]).adjust_cell_length(
            self.size.width, style
        )
