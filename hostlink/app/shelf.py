"""The archive on the desk: programs, found as one types; the shipped ones stand after them."""

from __future__ import annotations

from collections.abc import Sequence

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import Input, Label, Static

from hostlink.app.rows import Column, Entry, Rows
from hostlink.app.text_line import TextLine
from hostlink.app.texts import plain, plural
from hostlink.archive import Archive, Found, Program
from hostlink.jobs.material import SHIPPED, Shipped

_MOST_FOUND = 200


class Shelf(Vertical):
    """Programs of the archive with a search line above them."""

    class Opened(Message):
        """A program was chosen. word: what names it for `find_material`."""

        def __init__(self, word: str) -> None:
            super().__init__()
            self.word = word

    def __init__(self, archive: Archive, shipped: Sequence[Shipped], *, id: str) -> None:
        super().__init__(id=id)
        self._archive = archive
        self._shipped = list(shipped)
        self._programs: list[Program] = []
        self._words: list[str] = []

    def compose(self) -> ComposeResult:
        yield Static("", id="shelf-head", classes="heading", markup=False)
        with Horizontal(id="find-row"):
            yield Label("find")
            yield TextLine(id="find")
        yield Rows(
            [
                Column("program", 12),
                Column("rev", 4, right=True),
                Column("bytes", 7, right=True),
                Column("title", -1),
            ],
            empty="Nothing is found. Escape shows all programs again.",
            id="programs",
        )

    def on_mount(self) -> None:
        self.renew()

    def renew(self) -> None:
        """Read the programs again, as after something was kept."""
        self._programs = self._archive.programs()
        # Lower-case words of each program, so that a keystroke compares and does not build them.
        self._words = [
            " ".join((one.name, one.title, *one.tags)).casefold() for one in self._programs
        ]
        self.search(self.query_one("#find", Input).value)

    def search(self, question: str) -> None:
        """Show what fits: by name, title or tag first, then by a line of the listing."""
        asked = question.casefold().split()
        if not asked:
            entries = [_entry(one) for one in self._programs]
            entries += self._shipped_entries([])
            head = f"Archive: {plural(len(self._programs), 'program')}"
        else:
            near = [
                one
                for one, words in zip(self._programs, self._words, strict=True)
                if all(word in words for word in asked)
            ]
            entries = [_entry(one) for one in near]
            seen = {one.name for one in near}
            found = self._archive.find(question, limit=_MOST_FOUND)
            entries += [_found(one) for one in found if _name(one) not in seen]
            entries += self._shipped_entries(asked)
            head = f"Archive: {len(entries):,} found"
        self.query_one("#shelf-head", Static).update(Content(head))
        self.query_one(Rows).show(entries, stay=not asked)

    def _shipped_entries(self, asked: Sequence[str]) -> list[Entry]:
        """Shipped programs that the archive does not have yet."""
        have = {one.name for one in self._programs}
        return [
            Entry(f"{SHIPPED}{one.name}", (one.name, "", "shipped", one.title))
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
        """Down from the search line goes into the list; up from its first row goes back."""
        find, rows = self.query_one("#find", Input), self.query_one(Rows)
        if event.key == "down" and find.has_focus:
            rows.focus()
        elif event.key == "up" and rows.has_focus and rows.cursor == 0:
            find.focus()
        else:
            return
        event.stop()

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.stop()
        self.post_message(self.Opened(event.key))

    def clear_search(self) -> None:
        self.query_one("#find", Input).value = ""

    @property
    def program(self) -> str:
        """The name of the program at the cursor, "" where it is none of the archive."""
        key = self.query_one(Rows).key
        return "" if key.startswith((SHIPPED, "rescue@")) else key.partition("@")[0]


def _entry(one: Program) -> Entry:
    size = "" if one.size_bytes is None else f"{one.size_bytes:,}"
    return Entry(one.name, (one.name, str(one.latest), size, one.title))


def _name(found: Found) -> str:
    return found.program.name if found.program is not None else found.item.spec


def _found(found: Found) -> Entry:
    item = found.item
    size = "" if item.size_bytes is None else f"{item.size_bytes:,}"
    what = plain(found.line) or (found.program.title if found.program is not None else "")
    name = item.program if found.program is not None else item.spec
    return Entry(item.spec, (name, str(item.number), size, what))
