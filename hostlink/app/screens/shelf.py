"""The archive on the desk: its programs, then the shipped ones, searched as the user types."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.widgets import Input, Label

from hostlink.app.actions.table import way_back
from hostlink.app.aside import aside
from hostlink.app.widgets.heading import Heading
from hostlink.app.widgets.rows import Entry, ListColumn, Rows, go_between
from hostlink.app.widgets.text_line import TextLine
from hostlink.archive.times import local_text
from hostlink.errors import ArchiveError
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.archive import Archive, Found, Program
    from hostlink.jobs.listing_source import Shipped

_MOST_FOUND = 200
_AT_ONCE = 100  # programs, more than a screen shows


class _Known:
    """The programs of the archive, with rows and search words prepared for fast searching."""

    def __init__(self, programs: Sequence[Program]) -> None:
        self.entries = [_entry(one) for one in programs]
        self.words = [" ".join((one.name, one.title, *one.tags)).casefold() for one in programs]
        self.names = {one.name for one in programs}


class Shelf(Vertical):
    """Programs of the archive with a search line above them."""

    app: DeskApp

    class Opened(Message):
        """A program was chosen. word: what names it for `find_material`."""

        def __init__(self, word: str) -> None:
            super().__init__()
            self.word = word

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shipped: list[Shipped] = []
        self._known = _Known([])
        self._changes = 0  # as counted by the archive at the last reading

    def compose(self) -> ComposeResult:
        with Horizontal(id="find-row"):
            yield Heading(id="shelf-head")
            yield Label("find")
            yield TextLine(id="find")
        yield Rows(
            [
                ListColumn("program"),
                ListColumn("rev", right=True),
                ListColumn("bytes", right=True),
                ListColumn("kept", extra=True),
                ListColumn("title", -1),
                ListColumn("tags", -1, extra=True),
            ],
            id="programs",
        )

    def open(self, archive: Archive) -> None:
        """Show the programs of an archive."""
        self._archive = archive
        self.renew()

    def renew_if_changed(self) -> None:
        """Read the programs again if another window or command has written the archive."""
        with contextlib.suppress(ArchiveError):  # it cannot be read just now
            if self._archive.changes != self._changes:
                self.renew()

    def renew(self) -> None:
        """Read the programs again, as after something was kept.

        What the screen can show is read at once, the rest of a large archive by a worker.
        """
        from hostlink.jobs.listing_source import shipped_programs

        self._shipped = self._shipped or list(shipped_programs().values())
        self._changes = self._archive.changes
        first = self._archive.programs(limit=_AT_ONCE)
        self._take(_Known(first))
        if len(first) == _AT_ONCE:
            aside(self.app, self._read_all, self._take, newest="programs")

    def show_program(self, name: str) -> None:
        """Put the cursor of the list on a program, unless the user is choosing one there."""
        rows = self.query_one(Rows)
        keys = [one.key for one in rows.entries]
        if name in keys and not self.has_focus_within:
            rows.cursor = keys.index(name)

    def _read_all(self) -> _Known:
        known = _Known(self._archive.programs())
        # Otherwise the collector would examine all of these while the user types.
        gc.collect()
        gc.freeze()
        return known

    def _take(self, known: _Known) -> None:
        self._known = known
        self.search(self.query_one("#find", Input).value)

    def search(self, question: str) -> None:
        """Show the matches, by name, title or tag first; all programs for an empty question."""
        asked = question.casefold().split()
        if not asked:
            entries = self._known.entries + self._shipped_entries([])
            more = " or more" if len(self._known.entries) == _AT_ONCE else ""
            head = f"Archive: {plural(len(self._known.entries), 'program')}{more}"
        else:
            entries = [
                one
                for one, words in zip(self._known.entries, self._known.words, strict=True)
                if all(word in words for word in asked)
            ]
            seen = {one.key for one in entries}
            found = self._archive.find(question, near=not entries, limit=_MOST_FOUND)
            entries += [_found(one) for one in found if _name(one) not in seen]
            entries += self._shipped_entries(asked)
            head = f"Archive: {len(entries):,} {'nearly ' if found.near else ''}found"
        head += ", read-only" * self._archive.read_only
        self.query_one(Heading).say(head)
        rows = self.query_one(Rows)
        rows.empty = f"Nothing was found. {way_back()} shows all programs again." if asked else ""
        rows.show(entries, stay=not asked)
        if rows.has_focus and not entries:
            self.query_one("#find", Input).focus()
        rows.can_focus = bool(entries)

    def _shipped_entries(self, asked: Sequence[str]) -> list[Entry]:
        """Return matching shipped programs that are not in the archive."""
        from hostlink.jobs.listing_source import SHIPPED

        have = self._known.names
        return [
            Entry(f"{SHIPPED}{one.name}", (one.name, "", "", "shipped", one.title, ""))
            for one in self._shipped
            if one.name not in have
            and all(word in " ".join((one.name, one.title, *one.tags)).casefold() for word in asked)
        ]

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self.search(event.value)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        rows = self.query_one(Rows)
        if rows.key:
            self.post_message(self.Opened(rows.key))

    def on_key(self, event: events.Key) -> None:
        """Move between the search line and the first row of the list with Down and Up."""
        go_between(event, self.query_one("#find", Input), self.query_one(Rows))

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.stop()
        self.post_message(self.Opened(event.key))

    @property
    def program(self) -> str:
        """Return the program at the cursor, "" if it is not in the archive."""
        from hostlink.jobs.listing_source import SHIPPED

        key = self.query_one(Rows).key
        return "" if key.startswith((SHIPPED, "rescue@")) else key.partition("@")[0]


def _entry(one: Program) -> Entry:
    size = "" if one.size_bytes is None else f"{one.size_bytes:,}"
    kept = local_text(one.kept_at, "%Y-%m-%d")
    return Entry(one.name, (one.name, str(one.latest), size, kept, one.title, ", ".join(one.tags)))


def _name(found: Found) -> str:
    return found.program.name if found.program is not None else found.item.spec


def _found(found: Found) -> Entry:
    item = found.item
    size = "" if item.size_bytes is None else f"{item.size_bytes:,}"
    what = safe(found.marked) or (found.program.title if found.program is not None else "")
    if found.program is not None and found.program.retired:
        what = f"(retired) {what}"
    name = item.program if found.program is not None else item.spec
    kept = local_text(item.at, "%Y-%m-%d")
    tags = ", ".join(found.program.tags) if found.program is not None else ""
    return Entry(item.spec, (name, str(item.number), size, kept, what, tags))
