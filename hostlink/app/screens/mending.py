"""The screen of repairs to a pasted listing: each can be undone, and doubts are listed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Column, Entry, Rows
from hostlink.listing import Mend, Rules, mend
from hostlink.words import plural, safe


class MendScreen(Page[str | None]):
    """Show the repairs; return the text with the accepted ones, or None if it is rejected."""

    AUTO_FOCUS = "#mends"
    FOOT = (
        "Space undoes or redoes a repair. Enter takes the listing into the editor; nothing is "
        "sent. Escape leaves it."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "turn", "Undo or redo a repair", tooltip="The one at the cursor"),
        Binding("enter", "take", "Take it", tooltip="Into the editor", priority=True),
        Binding("escape", "leave", "Leave it", tooltip="The editor stays as it was"),
    ]

    def __init__(self, text: str, rules: Rules) -> None:
        super().__init__()
        self._text, self._rules = text, rules
        self._all = mend(text, rules).mends
        self._without: set[int] = set()

    def body(self) -> Iterator[Widget]:
        """Lay out the list of repairs, with the details of the chosen one."""
        rows = Rows(
            [Column("made", 4), Column("row", 4, right=True), Column("repair", -1)],
            id="mends",
        )
        yield from with_detail(rows, id="mend-detail")

    def on_mount(self) -> None:
        self._show()

    @property
    def mended(self) -> str:
        """Return the text with the repairs that were not undone."""
        left_out = [self._all[at] for at in self._without]
        return mend(self._text, self._rules, without=left_out).text

    def _show(self) -> None:
        made = len(self._all) - len(self._without)
        doubts = len(mend(self._text, self._rules).doubts)
        head = f"Mending: {made:,} of {plural(len(self._all), 'repair')} made"
        if doubts:
            head += f", {plural(doubts, 'doubt')} left as {'it is' if doubts == 1 else 'they are'}"
        self.set_head(head)
        self.query_one(Rows).show([self._entry(at, one) for at, one in enumerate(self._all)])
        self._detail()

    def _entry(self, at: int, one: Mend) -> Entry:
        return Entry(
            str(at), ("no" if at in self._without else "yes", f"{one.line:,}", one.sentence)
        )

    def _detail(self) -> None:
        key = self.query_one(Rows).key
        words = ""
        if key:
            one = self._all[int(key)]
            words = f"{one.sentence}\n\nbefore\n{one.before}\n\nafter\n{one.after}"
        doubts = mend(self._text, self._rules).doubts
        if doubts:
            words += "\n\nLeft as it is, but look at it:\n"
            words += "\n".join(f"row {each.line}: {each.sentence}" for each in doubts)
        self.query_one("#mend-detail", Static).update(Content(safe(words, keep="\n")))

    def on_rows_moved(self, event: Rows.Moved) -> None:
        event.stop()
        self._detail()

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.stop()
        self.action_turn()

    def action_turn(self) -> None:
        key = self.query_one(Rows).key
        if key:
            self._without ^= {int(key)}
            self._show()

    def action_take(self) -> None:
        self.dismiss(self.mended)
