"""The listing's editor, coloured by our own scanner, with each finding in words at its line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, ClassVar

from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.message import Message
from textual.strip import Strip
from textual.theme import Theme
from textual.widget import Widget
from textual.widgets import TextArea
from textual.widgets.text_area import TextAreaTheme

from hostlink.app.themes import THEMES

if TYPE_CHECKING:
    from hostlink.listing import Finding, Language, LedgerRow, Rules
    from hostlink.listing.rules import Form

_LONGEST_SCANNED = 2_000  # characters; a longer line is no BASIC that a board could take
_KINDS = {"quoted": "listing--quoted", "remark": "listing--remark", "number": "listing--number"}


class ListingEditor(TextArea):
    """A text area for one listing. Text pasted with several lines is handed over, not inserted."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "listing--keyword",
        "listing--quoted",
        "listing--number",
        "listing--remark",
        "listing--jump",
        "listing--finding",
    }
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+home", "edge(0)", "Start of the listing", show=False),
        Binding("ctrl+end", "edge(1)", "End of the listing", show=False),
        Binding("ctrl+shift+home", "edge(0, True)", "Select to the start", show=False),
        Binding("ctrl+shift+end", "edge(1, True)", "Select to the end", show=False),
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
        self._taken = ""  # what was cut or copied last from the listing that is here
        self._has_whole_line = False  # it was cut with nothing selected
        self.listing_language: Language | None = None  # none is known before the first review
        self.form: Form | None = None
        self.findings: Mapping[int, Sequence[Finding]] = {}

    def on_mount(self) -> None:
        for theme in THEMES:
            self.register_theme(_editor_theme(theme))
        self.watch(self.app, "theme", self._use_theme)

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

    def get_line(self, line_index: int) -> Text:
        """Return a line with its colours, followed by what the review found there."""
        typed = self.document.get_line(line_index)
        # A control character is shown as one cell, so that the cursor stays where it seems to be.
        shown = "".join(one if one.isprintable() or one == "\t" else "·" for one in typed)
        text = Text(shown, end="", no_wrap=True)
        if not typed:
            return text  # the first drawing has no text, and needs nothing else loaded
        from hostlink.listing import Line

        line = Line.from_text(typed)
        start = len(typed) - len(line.body)
        if line.number is not None:
            text.stylize(self.get_component_rich_style("listing--number"), 0, start)
        if len(typed) <= _LONGEST_SCANNED and self.listing_language is not None:
            self._colour(text, line.body, start, self.listing_language)
        found = self.findings.get(line_index)
        if found:
            words = f"  « {', '.join(one.rule.replace('-', ' ') for one in found)}"
            text.append(words, self.get_component_rich_style("listing--finding"))
        return text

    def _colour(self, text: Text, body: str, start: int, language: Language) -> None:
        from hostlink.listing.tokens import scan

        jumps = set(language.jumps)
        after_jump = False
        for span in scan(body, language):
            name = _KINDS.get(span.kind, "")
            if span.kind == "word":
                name = "listing--keyword"
                after_jump = span.word in jumps
            elif span.kind == "number" and after_jump:
                name = "listing--jump"
            elif span.kind != "blank":
                after_jump = False
            if name:
                style = self.get_component_rich_style(name)
                text.stylize(style, start + span.start, start + span.end)

    def action_edge(self, end: int, select: bool = False) -> None:
        """Put the cursor at the start (0) or the end (1) of the listing."""
        self.move_cursor(self.document.end if end else (0, 0), select=select)

    async def _on_key(self, event: events.Key) -> None:
        """Type only what the board can hold: Alt and a letter come as a letter with an accent."""
        if event.is_printable and event.character and self.form is not None:
            from hostlink.listing.charset import takes

            if not takes(event.character, self.form):
                self.post_message(self.Refused(event.character))
                event.stop()
                event.prevent_default()
                return
        await super()._on_key(event)

    async def _on_paste(self, event: events.Paste) -> None:
        event.prevent_default()
        event.stop()
        self._take_paste(event.text.replace("\r\n", "\n").replace("\r", "\n"))

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

    def load_text(self, text: str) -> None:
        """Show another listing; what was cut from the one before does not count as moved here."""
        self._taken = ""
        super().load_text(text)

    def _take_paste(self, text: str) -> None:
        """Insert what was taken from here, and one line; hand several other lines over."""
        rows = [row for row in text.split("\n") if row.strip()]
        if len(rows) < 2 or text == self._taken:
            self.insert_whole(text)
        else:
            self.post_message(self.Pasted(text))

    def insert_whole(self, text: str) -> None:
        """Insert text at the cursor, in place of what is selected; a cut line above the cursor's.

        It is one step for undoing.
        """
        self.history.checkpoint()
        if self._has_whole_line and text == self._taken and self.selection.is_empty:
            row = self.cursor_location[0]
            self.insert(text if text.endswith("\n") else f"{text}\n", (row, 0))
        elif result := self._replace_via_keyboard(text, *self.selection):
            self.move_cursor(result.end_location)
        self.history.checkpoint()

    def _refresh_size(self) -> None:
        """Make the text at least as wide as the view, so that findings are not cut off."""
        super()._refresh_size()
        width = self.scrollable_content_region.width
        if self.virtual_size.width < width:
            self.virtual_size = Size(width, self.virtual_size.height)


def _editor_theme(theme: Theme) -> TextAreaTheme:
    """Return the editor's theme; the line at the cursor keeps its syntax colours."""
    if theme.ansi:
        return TextAreaTheme(
            f"listing-{theme.name}",
            cursor_line_style=Style.null(),
            selection_style=Style(reverse=True),
        )
    return TextAreaTheme(
        f"listing-{theme.name}",
        cursor_line_style=Style(bgcolor=theme.boost),
        selection_style=Style(bgcolor=theme.variables["input-selection-background"]),
    )


class Ledger(Widget):
    """The two columns to the right of the listing: what each line costs, and the total so far.

    A line with a finding has "!" in front; a line that is not stored says why instead of a cost.
    """

    HEAD = "  cost  so far "
    WIDTH = len(HEAD)
    COMPONENT_CLASSES: ClassVar[set[str]] = {"ledger--here", "ledger--over", "ledger--unstored"}

    def __init__(self, editor: ListingEditor, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._editor = editor
        self._rows: Mapping[int, LedgerRow] = {}
        self._marked: Mapping[int, Sequence[Finding]] = {}
        self._limit = 0

    def on_mount(self) -> None:
        self.watch(self._editor, "scroll_y", self._moved, init=False)
        self.watch(self._editor, "selection", self._moved, init=False)

    def _moved(self) -> None:
        self.refresh()

    def show(
        self,
        rows: Sequence[LedgerRow],
        limit: int,
        marked: Mapping[int, Sequence[Finding]],
    ) -> None:
        """Show other costs. limit: bytes of the board, 0 where unknown."""
        self._rows = {row.line.at - 1: row for row in rows}
        self._limit = limit
        self._marked = marked
        self.refresh()

    def text_at(self, place: int) -> str:
        """Return the two columns beside a row of the listing, counted from 0."""
        row = self._rows.get(place)
        mark = "!" if place in self._marked else " "
        if row is None:
            return mark.ljust(self.WIDTH)
        if row.standing != "stored":
            return f"{mark} {row.standing}".ljust(self.WIDTH)
        return f"{mark}{row.cost:>5}{row.so_far:>8,} "

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
