"""The cross-reference screen: uses of each line, and where variables are set and read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.events import DescendantFocus
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.sentences import GOES_TO_LINE
from hostlink.app.widgets.page import Page
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.listing.reviewing.crossref import CrossReference
from hostlink.words import plural


class ReferencesScreen(Page[int | None]):
    """Show the cross-reference; return the line number to go to, or None to stay."""

    AUTO_FOCUS = "#lines"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "go", "Go to the line", tooltip="In the editor"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, found: CrossReference) -> None:
        super().__init__()
        self.found = found

    def body(self) -> Iterator[Widget]:
        """Lay out the variables and, to their left, the lines that other lines name."""
        with Horizontal(classes="across"):
            yield Rows(
                [ListColumn("line", right=True), ListColumn("named by", -1)],
                empty="No line names another.",
                id="lines",
            )
            yield Rows(
                [ListColumn("variable"), ListColumn("set in", -1), ListColumn("read in", -1)],
                empty="There is no variable.",
                id="variables",
            )
        yield Static("", id="reference-told", markup=False)

    def head(self) -> str:
        """Return the heading: how many lines and variables are listed."""
        lines = plural(len(self.found.lines), "line")
        variables = plural(len(self.found.variables), "variable")
        return f"Cross-reference: {lines} that others name, {variables}"

    def foot(self) -> str:
        """Return the line of keys, with a warning about jumps to computed lines."""
        words = f"Tab changes between lines and variables. {GOES_TO_LINE} Escape goes back."
        if self.found.worked_out:
            words = f"Computed at run time: jumps in {_numbers(self.found.worked_out)}. {words}"
        return words

    def on_mount(self) -> None:
        self.query_one("#lines", Rows).show(
            [
                Entry(
                    str(entry.number if entry.there else entry.used[0][1]),
                    (
                        str(entry.number),
                        ", ".join(f"{word} in {number}" for word, number in entry.used)
                        + ("" if entry.there else "; there is no such line"),
                    ),
                )
                for entry in self.found.lines
            ]
        )
        self.query_one("#variables", Rows).show(
            [
                Entry(
                    str((entry.set_in or entry.read_in)[0]),
                    (entry.name, _numbers(entry.set_in), _numbers(entry.read_in)),
                )
                for entry in self.found.variables
            ]
        )
        if not self.found.lines:
            self.query_one("#variables", Rows).focus()

    def on_rows_moved(self, event: Rows.Moved) -> None:
        event.stop()
        self._tell(event.rows)

    def on_descendant_focus(self, event: DescendantFocus) -> None:
        if isinstance(event.widget, Rows):
            self._tell(event.widget)

    def _tell(self, rows: Rows) -> None:
        """Show the whole entry at the cursor, since its column may be too narrow."""
        if not (rows.has_focus and rows.key):
            return
        first, *rest = rows.entries[rows.cursor].cells
        words = f"Line {first} is named by {rest[0]}."
        if rows.id == "variables":
            words = f"{first} is set in {rest[0]}, and read in {rest[1]}."
        self.say("#reference-told", words)

    def action_go(self) -> None:
        """Go to the line at the cursor or, for a variable, to the first line that uses it."""
        rows = next((one for one in self.query(Rows) if one.has_focus), None)
        if rows is not None and rows.key:
            self.dismiss(int(rows.key))


def _numbers(numbers: tuple[int, ...]) -> str:
    return ", ".join(map(str, numbers)) or "nowhere"
