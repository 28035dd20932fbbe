"""Renumber the listing by start, step and range, with a preview of the new numbers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.widget import Widget
from textual.widgets import Input, Label

from hostlink.app.screens.dialogues import ask
from hostlink.app.sentences import EDITOR_STAYS, UNDOABLE
from hostlink.app.ways import in_keys
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.app.widgets.text_line import TextLine
from hostlink.errors import HostlinkError, RefusedError, UsageError
from hostlink.listing import Listing, Rules
from hostlink.listing.renumber import Renumbered, Unfollowed, renumber
from hostlink.sentences import LISTING_UNCHANGED
from hostlink.words import plural

_FIELDS = (
    ("start", "first new number", "10", ""),
    ("step", "step", "10", ""),
    ("first", "from line", "", "first"),
    ("last", "to line", "", "last"),
)
"""Key, label, text at first, and what an empty field means."""


class RenumberScreen(Page[str | None]):
    """Preview new line numbers; return the renumbered text, or None if it is rejected."""

    AUTO_FOCUS = "#number-start"
    HEAD = "New line numbers"
    FOOT = f"Tab changes between the fields. {UNDOABLE} Escape cancels."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Accept it", tooltip="Into the editor"),
        Binding("escape", "leave", "Cancel", tooltip=EDITOR_STAYS),
    ]

    def __init__(self, listing: Listing, rules: Rules) -> None:
        super().__init__()
        self._listing, self._rules = listing, rules
        self.made: Renumbered | None = None  # None if the numbers cannot be used
        self.stop: HostlinkError | None = None  # why they cannot, or not without consent

    def body(self) -> Iterator[Widget]:
        """Lay out the fields for the numbering and a preview of the new line numbers."""
        with Horizontal(classes="fields"):
            for key, label, value, empty in _FIELDS:
                yield Label(label)
                yield TextLine(value, id=f"number-{key}", empty=empty)
        rows = Rows(
            [
                ListColumn("old", right=True),
                ListColumn("new", right=True),
                ListColumn("new text", -1),
            ],
            id="numbers",
        )
        yield from with_detail(rows, id="numbers-detail")

    def on_mount(self) -> None:
        self._work_out()

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self._work_out()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.action_take()

    def _number(self, key: str) -> int | None:
        """Return a field's number, None for an empty first or last. Raises UsageError naming it."""
        typed = self.query_one(f"#number-{key}", TextLine).value.strip()
        label = next(label for each, label, *_ in _FIELDS if each == key)
        if not typed and key in ("first", "last"):
            return None
        if not (typed.isascii() and typed.isdecimal() and len(typed) <= 9):
            raise UsageError(
                f'"{label}" has to be a whole number.',
                kept=LISTING_UNCHANGED,
                advice="Type digits only, such as 10.",
            )
        return int(typed)

    def _work_out(self) -> None:
        self.made = self.stop = None
        try:
            self.made = self._renumbered(forced=False)
        except RefusedError as error:
            self.stop, self.made = error, self._renumbered(forced=True)
        except HostlinkError as error:
            self.stop = error
        self._show()

    def _renumbered(self, *, forced: bool) -> Renumbered:
        return renumber(
            self._listing,
            self._rules,
            start=self._number("start") or 0,
            step=self._number("step") or 0,
            first=self._number("first"),
            last=self._number("last"),
            forced=forced,
        )

    def _show(self) -> None:
        head, entries = "New line numbers", []
        if self.made is not None:
            moved = sum(old != new for old, new in self.made.numbers.items())
            head = f"New line numbers: {plural(moved, 'line')} renumbered; every jump follows"
            if not moved:
                head = "New line numbers: the listing already has these"
            held = self.made.listing.numbered()
            entries = [
                Entry(str(old), (str(old), str(new), held[new].text))
                for old, new in self.made.numbers.items()
            ]
        if self.stop is not None:
            head = "New line numbers: not possible like this"
            if self.made is not None:
                head = f"New line numbers: {self._places()} cannot follow"
        self.set_head(head)
        self.query_one(Rows).show(entries)
        words = "Quoted text and remarks are not changed."
        if self.stop is not None:
            words = f"{self.stop.what} {in_keys(self.stop.advice)}"
        if self.stop is not None and self.made is not None:
            words = f"{self.stop.what} Change it, or press Enter to renumber anyway."
            words += "\n\n" + "\n".join(map(_left, self.made.unfollowed))
        self.say("#numbers-detail", words)

    def _places(self) -> str:
        return plural(len(self.made.unfollowed) if self.made is not None else 0, "jump")

    def action_take(self) -> None:
        """Accept the new numbers; ask first if a jump cannot be updated."""
        self._work_out()
        made, stop = self.made, self.stop
        if made is None or (stop is not None and not made.unfollowed):
            self.app.notify(stop.what if stop is not None else "", markup=False)
            return
        if stop is None:
            self.dismiss(made.listing.text())
            return

        jumps = "\n".join(map(_left, made.unfollowed))
        ask(
            self.app,
            stop.what,
            ("force", "Renumber anyway", lambda: self.dismiss(made.listing.text())),
            leave="Leave the numbers",
            why=f"These jumps have to be corrected by hand:\n{jumps}",
        )


def _left(left: Unfollowed) -> str:
    why = "computed when it runs" if left.target is None else f"there is no line {left.target}"
    return f"{left.typed}   ({left.word}: {why})"
