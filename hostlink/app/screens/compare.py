"""Two listings beside each other by line number, with the changed characters marked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.widgets.page import Page
from hostlink.listing import Change, Comparison, Line, Listing, Rules, compare
from hostlink.words import capital, plural, safe

_CHANGED = "bold reverse"


def compared(comparison: Comparison, names: tuple[str, str]) -> Content:
    """Return a comparison as text: each differing line, how it differs, and which characters."""
    lines: list[tuple[int, list[Content]]] = []
    for line in comparison.removed:
        lines.append((line.number or 0, [_only(line, names[0])]))
    for line in comparison.added:
        lines.append((line.number or 0, [_only(line, names[1])]))
    for change in comparison.changed:
        lines.append((change.old.number or 0, list(_changed(change, names))))
    lines.sort(key=lambda each: each[0])
    return Content("\n").join([row for _, rows in lines for row in rows])


def _only(line: Line, name: str) -> Content:
    return Content.assemble((f"only in {name}", "italic"), "\n    ", safe(line.typed))


def _changed(change: Change, names: tuple[str, str]) -> Iterator[Content]:
    yield Content.assemble((f"changed from {names[0]} to {names[1]}", "italic"))
    old = [(one.old_start, one.old_end) for one in change.stretches]
    new = [(one.new_start, one.new_end) for one in change.stretches]
    for typed, spans in ((change.old.typed, old), (change.new.typed, new)):
        # One cell a character, so that the places of the changes fit what is shown.
        shown = "".join(one if one.isprintable() else "·" for one in typed)
        content = Content(shown)
        for start, end in spans:
            content = content.stylize(_CHANGED, start, end)
        yield Content.assemble("    ", content)


class CompareScreen(Page[None]):
    """Shows the differences between two listings."""

    FOOT = "Changed characters are marked. Escape goes back."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back", tooltip="To where you were"),
    ]

    def __init__(self, old: Listing, new: Listing, names: tuple[str, str], rules: Rules) -> None:
        super().__init__()
        self.comparison = compare(old, new, rules)
        self.names = names

    def body(self) -> Iterator[Widget]:
        """Lay out the summary and the lines that differ."""
        with VerticalScroll():
            yield Static(self._words(), classes="words", id="summary", markup=False)
            yield Static(
                compared(self.comparison, self.names), classes="words", id="lines", markup=False
            )

    def head(self) -> str:
        """Return the heading: the two listings that are compared."""
        return f"{capital(self.names[0])} against {self.names[1]}"

    def _words(self) -> Content:
        found = self.comparison
        if found.equal:
            return Content(f"Nothing differs: {plural(found.same_count, 'line')} the same.")
        return Content(
            f"{plural(len(found.changed), 'line')} changed, {len(found.added):,} only in "
            f"{safe(self.names[1])}, {len(found.removed):,} only in {safe(self.names[0])}, "
            f"{found.same_count:,} the same."
        )

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()
