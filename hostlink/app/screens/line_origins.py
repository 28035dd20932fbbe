"""Which revision, day and board each line of a program first came from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.widgets.page import Page
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Revision
from hostlink.archive.records import Listed
from hostlink.archive.times import local_text
from hostlink.jobs.line_origins import LineOrigin


class OriginsScreen(Page[None]):
    """Show each line of a revision with the first revision that has it."""

    AUTO_FOCUS = "#origins"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back", tooltip="To the revisions"),
    ]

    def __init__(self, revision: Revision, found: Listed[LineOrigin]) -> None:
        super().__init__()
        self.revision, self.found = revision, found

    def body(self) -> Iterator[Widget]:
        """Lay out the lines with the revision, the day and the board of each."""
        yield Rows(
            [
                ListColumn("rev", right=True),
                ListColumn("kept", extra=True),
                ListColumn("board", -1, extra=True),
                ListColumn("line", -1),
            ],
            id="origins",
        )

    def head(self) -> str:
        """Return the heading: the revision."""
        return f"{self.revision.spec}: where each line came from"

    def foot(self) -> str:
        """Return what the columns mean, and which revisions could not be read."""
        words = "The first revision with the same line. Escape goes back."
        return " ".join((*self.found.damaged, words))

    def on_mount(self) -> None:
        self.query_one(Rows).show([_entry(one) for one in self.found])


def _entry(one: LineOrigin) -> Entry:
    number, kept = str(one.revision.number), local_text(one.revision.at)
    return Entry(one.text, (number, kept, one.board, one.text))
