"""The rescues: what boards held before it was overwritten, and what to do with one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar, Literal

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.screens.dialogues import AskText
from hostlink.app.screens.revisions import Wish
from hostlink.app.sentences import OVERWRITTEN, under_which_name
from hostlink.app.ways import in_keys
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Rescue
from hostlink.archive.times import local_text
from hostlink.jobs.collecting import gather_one, keep_all
from hostlink.words import plural

MOST = 500  # rescues that are listed


class RescuesScreen(Page[Wish | None]):
    """Show the rescues, the newest first; return what the desk should do next with one."""

    AUTO_FOCUS = "#rescues"
    FOOT = (
        "Enter opens one in the editor. K keeps it under a name. Ctrl+L loads it. B compares it "
        "with the board. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "wish('open')", "Open it", tooltip="Into the editor", priority=True),
        screen_key("rescues.keep", "Keep it under a name", "As a revision of a program"),
        screen_key("rescues.load", "Load it", "Back into the board", action="wish('load')"),
        screen_key("rescues.compare-board", "Compare with the board", "What it holds now"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.rescues: dict[str, Rescue] = {}

    def body(self) -> Iterator[Widget]:
        """Lay out the list of rescues, with the listing of the chosen one."""
        rows = Rows(
            [
                ListColumn("rescue"),
                ListColumn("kept"),
                ListColumn("bytes", right=True),
                ListColumn("from", -1, extra=True),
                ListColumn("note", -1),
            ],
            empty="There is no rescue yet: a load makes one of what the board held.",
            id="rescues",
        )
        yield from with_detail(rows, id="rescue-detail")

    def on_mount(self) -> None:
        found = self.app.archive.rescues(limit=MOST)
        self.rescues = {one.spec: one for one in found}
        labels = self.app.archive.board_labels()
        more = " or more" if len(found) == MOST else ""
        self.set_head(f"{OVERWRITTEN}: {plural(len(found), 'rescue')}{more}")
        self.query_one(Rows).show(
            [_entry(one, labels.get(one.origin.board_uuid or "", "")) for one in found]
        )

    def detail(self) -> None:
        """Show the rescue at the cursor."""
        one = self.rescues.get(self.query_one(Rows).key)
        if one is None:
            return
        content = self.app.attempt(lambda: self.app.archive.content(one))
        text = content.text if content is not None else ""
        words = f"{one.spec}: {plural(one.line_count, 'line')}\n{text}"
        self.say("#rescue-detail", words)

    def action_wish(self, what: Literal["open", "load"]) -> None:
        key = self.query_one(Rows).key
        if key:
            self.dismiss((what, key))

    def action_compare_board(self) -> None:
        """Compare the rescue with what the board holds; closing the comparison returns here."""
        key = self.query_one(Rows).key
        if key:
            self.app.desk.comparing.compare(key)

    def action_keep(self) -> None:
        """Ask for a name, and keep the rescue as a revision of that program."""
        one = self.rescues.get(self.query_one(Rows).key)
        if one is None:
            return

        def named(name: str | None) -> None:
            if not name:
                return
            archive, profile = self.app.archive, self.app.boards.profile
            kept = self.app.attempt(
                lambda: keep_all(archive, gather_one(one.spec, name, archive, profile), profile)
            )
            if kept is None:
                return
            told = [f"{one.spec} is kept as {new.revision.spec}." for _, new in kept.kept]
            told += [f"{where} was not kept. {in_keys(why)}" for where, why in kept.left_out]
            self.tell(" ".join(told))
            self.app.desk.shelf.renew()

        self.app.push_screen(
            AskText(under_which_name(one.spec), one.program, hint="The name of a program."),
            named,
        )


def _entry(one: Rescue, board: str) -> Entry:
    origin = one.origin
    marks = ["after a restart"] if origin.after_restart else []
    marks += [f"not proven: {origin.unproven}"] if origin.unproven else []
    size = "" if one.size_bytes is None else f"{one.size_bytes:,}"
    note = "; ".join(filter(None, (one.program, *marks, origin.note)))
    return Entry(one.spec, (one.spec, local_text(one.at), size, board or origin.where, note))
