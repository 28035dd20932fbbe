"""A box with several lines to fill in, and a list of choices for the line with the focus."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import ClassVar, NamedTuple

from textual import events
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, Label

from hostlink.app.screens.dialogues import Box, beginning_here, paragraph
from hostlink.app.widgets.rows import Entry, ListColumn, Rows, go_between
from hostlink.app.widgets.text_line import TextLine
from hostlink.words import safe


class LineOffer(NamedTuple):
    """What can be chosen for a line.

    names: given what is typed, returns names that fit, each with a description. many: the line
    takes several names with blanks between them; `names` is given the last one.
    """

    names: Callable[[str], Sequence[tuple[str, str]]]
    many: bool = False


class Fill(Box["dict[str, str] | None"]):
    """A box with several lines to fill in; returns the text of each by key, None if cancelled.

    lines: key, label and initial text. hint: what Enter does. path: the key of the
    line that takes a file or folder, which Tab completes; "" for none. offers: what can be chosen,
    by the key of a line; a list below the lines shows it.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "app.focus_next", "Next line", show=False),
        Binding("up", "app.focus_previous", "Previous line", show=False),
    ]

    def __init__(
        self,
        head: str,
        lines: Sequence[tuple[str, str, str]],
        *,
        hint: str,
        path: str = "",
        offers: Mapping[str, LineOffer] = MappingProxyType({}),
    ) -> None:
        super().__init__()
        self.head, self.lines, self.hint, self.path = head, tuple(lines), hint, path
        self._offers = offers
        self._key = ""  # of the line that the list is about

    def _words(self) -> Iterator[Widget]:
        tab = "Tab goes to the next line."
        if self.path:
            tab = f"Tab completes a file name, and goes to the next line. {beginning_here()}"
        if self._offers:
            tab = f"The list shows the choices: Down goes there, Enter takes one. {tab}"
        yield paragraph(self.head)
        yield paragraph(f"{self.hint} {tab} Escape cancels.", name="part quiet")

    def _answered_by(self) -> Iterator[Widget]:
        for key, label, value in self.lines:
            with Horizontal(classes="field"):
                yield Label(Content(safe(label)), classes="label")
                yield self._line(key, value)
        if self._offers:
            columns = [ListColumn("to choose from", 14), ListColumn("", -1)]
            yield Rows(columns, id="places")

    def _line(self, key: str, value: str) -> TextLine:
        if key == self.path:
            from hostlink.app.widgets.paths import PathLine

            return PathLine(value, id=f"fill-{key}")
        return TextLine(value, id=f"fill-{key}")

    def _text(self, key: str) -> TextLine:
        return self.query_one(f"#fill-{key}", TextLine)

    def on_mount(self) -> None:
        if self.path:
            self._text(self.path).action_select_all()  # so that typing replaces it

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.dismiss({key: self._text(key).value.strip() for key, _, _ in self.lines})

    # --- choosing ----------------------------------------------------------------------------

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        """Show what can be chosen for a line when it gets the focus."""
        if self._offers and isinstance(event.widget, TextLine):
            self._key = (event.widget.id or "").removeprefix("fill-")
            self._list()

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        if self._offers and event.input.id == f"fill-{self._key}":
            self._list()

    def _typed(self) -> tuple[str, str]:
        """Return the part of the line that a chosen name keeps, and the part that it replaces."""
        text, offer = self._text(self._key).value, self._offers[self._key]
        at = text.rfind(" ") + 1 if offer.many else 0
        if offer.many and text[at:] in (name for name, _ in offer.names(text[at:])):
            return f"{text} ", ""
        return text[:at], text[at:]

    def _list(self) -> None:
        rows, offer = self.query_one(Rows), self._offers.get(self._key)
        rows.empty = ""
        if offer is None:
            rows.show([])
            return
        stays, begun = self._typed()
        there = stays.split()
        rows.empty = "Nothing else in the archive begins like this." if begun else ""
        names = offer.names(begun)
        rows.show([Entry(name, (name, words)) for name, words in names if name not in there])

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        """Put the chosen name into the line."""
        event.stop()
        line, offer = self._text(self._key), self._offers[self._key]
        line.value = f"{self._typed()[0]}{event.key}{' ' * offer.many}"
        line.cursor_position = len(line.value)
        line.focus()

    def on_key(self, event: events.Key) -> None:
        """Go from a line to the list of what can be chosen for it with Down, and back with Up."""
        if self._key in self._offers:
            go_between(event, self._text(self._key), self.query_one(Rows))
