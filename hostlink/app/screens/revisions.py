"""The revisions of a program: where each came from, how its size grew, and what to do with one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar, Literal

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.board_words import revision_words
from hostlink.app.screens.compare import CompareScreen
from hostlink.app.screens.dialogues import AskText
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Origin, Revision
from hostlink.archive.times import local_text
from hostlink.errors import HostlinkError
from hostlink.jobs.event_words import kept_words
from hostlink.jobs.line_origins import line_origins
from hostlink.listing import Listing
from hostlink.ruler import size_chart
from hostlink.words import plural

Wish = tuple[Literal["open", "load"], str]
"""What the desk is to do, and with which revision or rescue."""


class RevisionsScreen(Page[Wish | None]):
    """Show the history of a program; return what the desk should do next."""

    AUTO_FOCUS = "#revisions"
    FOOT = (
        "Enter opens. Ctrl+L loads. B compares with the board. Space marks, C compares, "
        "O shows the origin of each line, R restores as the newest, N notes. P shows its runs. "
        "T retires. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "wish('open')", "Open it", tooltip="Into the editor", priority=True),
        screen_key(
            "revisions.load", "Load it", "This revision into the board", action="wish('load')"
        ),
        screen_key("revisions.compare-board", "Compare with the board", "What it holds now"),
        screen_key("revisions.mark", "Mark it", "To compare it with another"),
        screen_key(
            "revisions.compare", "Compare", "Two marked revisions, or this one with a marked one"
        ),
        screen_key("revisions.origins", "Where lines came from", "Revision, day and board of each"),
        screen_key("revisions.restore", "Restore", "Keep it again as the newest revision"),
        screen_key("revisions.note", "Note", "A line kept with the revision"),
        screen_key("revisions.printed", "What it printed", "Its runs, and how each ended"),
        screen_key("revisions.retire", "Retire, or return", "Out of the list, not deleted"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, program: str) -> None:
        super().__init__()
        self.program = program
        self.revisions: list[Revision] = []
        self.marked: list[str] = []  # at most two

    def body(self) -> Iterator[Widget]:
        """Lay out the list of a program's revisions, with the details of the chosen one."""
        rows = Rows(
            [
                ListColumn("", 1),
                ListColumn("rev", right=True),
                ListColumn("bytes", right=True),
                ListColumn("kept"),
                ListColumn("from", extra=True),
                ListColumn("board", -1, extra=True),
                ListColumn("note", -1),
            ],
            id="revisions",
        )
        yield from with_detail(rows, id="chart")

    def on_mount(self) -> None:
        self.renew()

    def on_resize(self) -> None:
        self.call_after_refresh(self._chart)

    def renew(self) -> None:
        """Read the history again."""
        self.revisions = self.app.archive.history(self.program)
        labels = self.app.archive.board_labels()
        retired = ", retired" if self.app.archive.program(self.program).retired else ""
        self.set_head(f"{self.program}: {plural(len(self.revisions), 'revision')}{retired}")
        self.query_one(Rows).show(
            [
                self._entry(one, labels.get(one.origin.board_uuid or "", ""))
                for one in reversed(self.revisions)
            ]
        )
        self._chart()

    def _entry(self, one: Revision, board: str) -> Entry:
        unproven = f"not proven: {one.origin.unproven}" if one.origin.unproven else ""
        size = "" if one.size_bytes is None else f"{one.size_bytes:,}"
        return Entry(
            one.spec,
            (
                "*" if one.spec in self.marked else "",
                str(one.number),
                size,
                local_text(one.at),
                one.origin.kind if one.origin.kind != "file" else one.origin.where,
                board,
                "; ".join(filter(None, (one.spec if one.archive else "", unproven, one.note))),
            ),
        )

    def _chart(self) -> None:
        limit = self.app.boards.profile.rules.storage.room
        width = max(20, self.query_one(".side").size.width - 2)
        sizes = [(one.number, one.size_bytes) for one in self.revisions]
        chart = size_chart(sizes, limit, width)
        self.query_one("#chart", Static).update(Content(f"Size over revisions\n{chart}"))

    @property
    def chosen(self) -> Revision | None:
        """Return the revision at the cursor."""
        key = self.query_one(Rows).key
        return next((one for one in self.revisions if one.spec == key), None)

    def action_wish(self, what: Literal["open", "load"]) -> None:
        if self.chosen is not None:
            self.dismiss((what, self.chosen.spec))

    def action_compare_board(self) -> None:
        """Compare the revision with what the board holds; closing the comparison returns here."""
        if self.chosen is not None:
            self.app.desk.comparing.compare(self.chosen.spec)

    def action_mark(self) -> None:
        """Mark or unmark a revision; a third mark removes the oldest."""
        if self.chosen is not None:
            spec = self.chosen.spec
            others = [one for one in self.marked if one != spec]
            self.marked = others if spec in self.marked else [*others[-1:], spec]
            self.renew()

    def action_compare(self) -> None:
        """Compare two marked revisions, or the chosen one with the marked or the previous one."""
        chosen = self.chosen
        if chosen is None:
            return
        marked = [one for one in self.revisions if one.spec in self.marked]
        at = self.revisions.index(chosen)
        if len(marked) < 2:
            other = marked[0] if marked else self.revisions[at - 1] if at else chosen
            marked = [other, chosen]
        if marked[0] is marked[1]:
            self.app.notify(
                "Move to the revision to compare with, or mark it too "
                f"({way_to('revisions.mark')}).",
                markup=False,
            )
            return
        older, newer = sorted(marked, key=lambda one: one.number)
        self.app.attempt(lambda: self._show(older, newer))

    def _show(self, older: Revision, newer: Revision) -> None:
        archive = self.app.archive
        self.app.push_screen(
            CompareScreen(
                Listing.from_text(archive.content(older).text),
                Listing.from_text(archive.content(newer).text),
                (revision_words(older.spec), revision_words(newer.spec)),
                self.app.boards.profile.rules,
            )
        )

    def action_origins(self) -> None:
        """Show which revision each line of the chosen one first came from."""
        from hostlink.app.screens.line_origins import OriginsScreen

        chosen = self.chosen
        found = self.app.attempt(lambda: line_origins(self.app.archive, chosen)) if chosen else None
        if chosen is not None and found is not None:
            self.app.push_screen(OriginsScreen(chosen, found))

    def _done(self, words: str) -> None:
        """Report a change of the program on this screen and on the desk."""
        self.tell(words)
        self.renew()

    def action_restore(self) -> None:
        """Keep an older revision again as the newest; all others stay in the archive."""
        chosen = self.chosen
        if chosen is None:
            return
        try:
            content = self.app.archive.content(chosen)
            origin = Origin("edit", chosen.spec, note=f"revision {chosen.number} again")
            kept = self.app.archive.keep(self.program, content, origin, parent=chosen)
        except HostlinkError as error:
            self.app.show_error(error)
            return
        self._done(kept_words(kept.revision.spec, is_new=kept.is_new))

    def action_retire(self) -> None:
        """Take the program out of the list, or put it back; a search finds it in either case."""
        archive = self.app.archive
        try:
            if archive.program(self.program).retired:
                archive.bring_back(self.program)
                words = f"{self.program} is in the list again."
            else:
                archive.retire(self.program)
                words = f"{self.program} is no longer in the list; nothing was deleted. "
                words += f"{way_to('revisions.retire')} puts it back."
        except HostlinkError as error:
            self.app.show_error(error)
            return
        self._done(words)

    def action_printed(self) -> None:
        """Show what the program printed when it was run."""
        from hostlink.app.screens.runs import RunsScreen

        self.app.push_screen(RunsScreen(self.program))

    def action_note(self) -> None:
        chosen = self.chosen
        if chosen is None:
            return

        def answered(text: str | None) -> None:
            if text is not None:
                self.app.attempt(lambda: self.app.archive.note(chosen.spec, text))
                self.renew()

        self.app.push_screen(AskText(f"A note on {chosen.spec}:", chosen.note), answered)
