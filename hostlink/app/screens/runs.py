"""The runs of a program: when, how each ended, and what it printed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.sentences import NO_LABEL
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Run
from hostlink.archive.times import local_text
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

MOST = 200  # runs that are listed


class RunsScreen(Page[None]):
    """Show the runs of a program, the newest first, with what the chosen one printed."""

    app: DeskApp
    AUTO_FOCUS = "#runs"
    FOOT = "The arrow keys choose a run. Escape goes back."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back", tooltip="To the revisions"),
    ]

    def __init__(self, program: str) -> None:
        super().__init__()
        self.program = program
        self.runs: dict[str, Run] = {}

    def body(self) -> Iterator[Widget]:
        """Lay out the list of runs, with what the chosen one printed."""
        rows = Rows(
            [
                ListColumn("rev", 4, right=True),
                ListColumn("when", 16),
                ListColumn("took", 9, right=True),
                ListColumn("ended", -1),
            ],
            empty="It was not run yet, or not from here.",
            id="runs",
        )
        yield from with_detail(rows, id="run-detail")

    def on_mount(self) -> None:
        found = self.app.archive.runs(self.program, limit=MOST)
        self.runs = {run.spec: run for run in found}
        more = " or more" if len(found) == MOST else ""
        self.set_head(f"{self.program}: {plural(len(found), 'run')}{more}")
        self.query_one(Rows).show([_entry(run) for run in found])

    def on_rows_moved(self, event: Rows.Moved) -> None:
        event.stop()
        run = self.runs.get(event.key)
        if run is None:
            return
        rows = list(run.printed.rows)
        if run.printed.cut:
            rows.insert(run.printed.cut_after, run.printed.missing)
        board = run.board or (NO_LABEL if run.board_uuid else "without a board")
        head = f"{run.spec}, {board}: {run.ended}"
        self.query_one("#run-detail", Static).update(
            Content(safe("\n".join([head, *rows]), keep="\n"))
        )


def _entry(run: Run) -> Entry:
    number = run.revision.partition("@")[2]
    return Entry(run.spec, (number, local_text(run.at), f"{run.seconds:,.1f} s", run.ended))
