"""Shrinking the listing: what each level saves is shown first, and how the listing looks then."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.listing import Listing, Rules
from hostlink.listing.shrinking.shrink import LEVELS, Shrunk, shrink
from hostlink.words import plural, safe

TO_FIT = "until it fits"


class ShrinkScreen(Page[str | None]):
    """Preview the levels; return the shrunk text, or None if it is rejected."""

    AUTO_FOCUS = "#levels"
    FOOT = (
        "Each level holds those above it. Enter takes the listing into the "
        "editor, where Ctrl+Z takes it back; nothing is kept or sent. Escape leaves it."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Take it", tooltip="Into the editor"),
        Binding("escape", "leave", "Leave it", tooltip="The editor stays as it was"),
    ]

    def __init__(self, listing: Listing, rules: Rules, size_words: Sequence[str] = ()) -> None:
        super().__init__()
        self._listing, self._rules, self._size_words = listing, rules, size_words
        self.most = shrink(listing, rules, size_words=size_words)
        self._made: dict[str, Shrunk] = {}

    def body(self) -> Iterator[Widget]:
        """Lay out the levels of shrinking, with the effect of the chosen one."""
        rows = Rows(
            [
                ListColumn("how far", 14),
                ListColumn("saves", 6, right=True),
                ListColumn("in all", 6, right=True),
                ListColumn("bytes then", 10, right=True),
                ListColumn("", -1),
            ],
            id="levels",
        )
        yield from with_detail(rows, id="level-detail")

    def on_mount(self) -> None:
        self.query_one(Rows).show(list(self._entries()))

    def head(self) -> str:
        """Return the heading: the present size, its limit, and how many bytes are too many."""
        limit, before = self.most.limit, self.most.before
        size = f"{before:,} of {plural(limit, 'byte')}" if limit else plural(before, "byte")
        if limit and before > limit:
            size += f": {plural(before - limit, 'byte')} over"
        if limit and self.most.after > limit:
            size += f", and still {plural(self.most.after - limit, 'byte')} over at its smallest"
        return f"Make it smaller: {size}"

    def _entries(self) -> list[Entry]:
        entries: list[Entry] = []
        limit, now = self.most.limit, self.most.before
        if limit and now > limit:
            fitting = self.made(TO_FIT)
            if fitting.after <= limit:
                saved = fitting.before - fitting.after
                entries.append(self._entry(TO_FIT, saved, saved, fitting.after))
        for step in self.most.steps:
            now -= step.saved
            entries.append(self._entry(step.level, step.saved, self.most.before - now, now))
        return entries

    def _entry(self, level: str, saves: int, in_all: int, then: int) -> Entry:
        limit = self.most.limit
        room = ""
        if limit:
            room = f"{limit - then:,} free" if then <= limit else f"{then - limit:,} over"
        return Entry(level, (level, f"{saves:,}", f"{in_all:,}", f"{then:,}", room))

    def made(self, level: str) -> Shrunk:
        """Return the result of shrinking up to one level, or until the program fits."""
        if level not in self._made:
            to_fit = level == TO_FIT
            self._made[level] = shrink(
                self._listing,
                self._rules,
                "everything" if to_fit else level,
                to_fit=to_fit,
                size_words=self._size_words,
            )
        return self._made[level]

    def on_rows_moved(self, event: Rows.Moved) -> None:
        event.stop()
        if not event.key:
            return
        made = self.made(event.key)
        does = LEVELS.get(event.key, "One level after the other, and no line more than it takes.")
        words = [f"{event.key}: {does}" if event.key in LEVELS else does]
        words += [
            f"{step.level}: {plural(step.saved, 'byte')} in {plural(step.lines, 'line')}"
            for step in made.steps
            if event.key == TO_FIT and step.saved
        ]
        words += made.notes
        words += ["", "The listing then:", made.listing.text()]
        self.query_one("#level-detail", Static).update(Content(safe("\n".join(words), keep="\n")))
        self.query_one(".side", VerticalScroll).scroll_home(animate=False)

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.stop()
        self.action_take()

    def action_take(self) -> None:
        key = self.query_one(Rows).key
        if key:
            self.dismiss(self.made(key).listing.text())
