"""Show a program's runs and what each printed; compare two, or write one's numbers to a file."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.screens.choosing import ChoosePath
from hostlink.app.screens.dialogues import write_file
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Run
from hostlink.archive.times import local_text
from hostlink.jobs.drawing import Drawing, drawing_of_run
from hostlink.jobs.files import named_path
from hostlink.jobs.run.run_words import compare_runs, run_words
from hostlink.words import plural

MOST = 200  # runs that are listed


class RunsScreen(Page[None]):
    """Show the runs of a program, the newest first, with what the chosen one printed."""

    AUTO_FOCUS = "#runs"
    FOOT = (
        "The arrow keys choose a run. Space marks one, C compares it with the chosen one. "
        "F writes the numbers of the chosen one to a file. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("runs.mark", "Mark it", "To compare another with it"),
        screen_key("runs.compare", "Compare", "With the marked one, or with the previous one"),
        screen_key("runs.file", "Numbers to a file", "As CSV, or drawn as an SVG picture"),
        Binding("escape", "leave", "Back", tooltip="To the revisions"),
    ]

    def __init__(self, program: str) -> None:
        super().__init__()
        self.program = program
        self.runs: dict[str, Run] = {}
        self.marked = ""

    def body(self) -> Iterator[Widget]:
        """Lay out the list of runs, with what the chosen one printed."""
        rows = Rows(
            [
                ListColumn("", 1),
                ListColumn("rev", 4, right=True),
                ListColumn("when", 16),
                ListColumn("took", 9, right=True),
                ListColumn("ended", -1),
            ],
            empty="It has not been run yet, or not from here.",
            id="runs",
        )
        yield from with_detail(rows, id="run-detail")

    def on_mount(self) -> None:
        found = self.app.archive.runs(self.program, limit=MOST)
        self.runs = {run.spec: run for run in found}
        more = " or more" if len(found) == MOST else ""
        self.set_head(f"{self.program}: {plural(len(found), 'run')}{more}")
        self._list()

    def _list(self) -> None:
        self.query_one(Rows).show([_entry(run, self.marked) for run in self.runs.values()])

    def detail(self) -> None:
        """Show what the chosen run printed."""
        if run := self.chosen:
            rows = list(run.printed.rows)
            if run.printed.cut:
                rows.insert(run.printed.cut_after, run.printed.missing)
            self.say("#run-detail", "\n".join([run_words(run), *rows]))

    @property
    def chosen(self) -> Run | None:
        """Return the run at the cursor."""
        return self.runs.get(self.query_one(Rows).key)

    def action_mark(self) -> None:
        """Mark or unmark the chosen run."""
        if self.chosen is not None:
            self.marked = "" if self.marked == self.chosen.spec else self.chosen.spec
            self._list()

    def action_compare(self) -> None:
        """Show how the chosen run differs from the marked one, or from the previous one."""
        order = list(self.runs)
        at = self.query_one(Rows).cursor
        other = self.marked or "".join(order[at + 1 : at + 2])
        if not other or other == order[at]:
            mark = way_to("runs.mark")
            self.app.notify(f"Move to the run to compare, and mark another one ({mark}).")
            return
        places = sorted((order.index(other), at), reverse=True)  # the newest is listed first
        first, second = (self.runs[order[place]] for place in places)
        rows, told, _ = compare_runs(first, second)
        words = f"{first.spec} against {second.spec}: {told}"
        self.say("#run-detail", "\n".join([words, *rows]))

    def action_file(self) -> None:
        """Ask for a file, and write the chosen run's numbers or their drawing (.svg) to it."""
        run = self.chosen
        drawing = None if run is None else self.app.attempt(partial(drawing_of_run, run))
        if run is None or drawing is None:
            return
        self.app.push_screen(
            ChoosePath(
                f"Write the numbers of {run.spec} to which file?",
                f"{self.program.lower()}-{run.number}.csv",
                hint="A name that ends in .svg gives a drawing, any other name CSV.",
            ),
            lambda name: self._write(drawing, named_path(name)) if name else None,
        )

    def _write(self, drawing: Drawing, path: Path) -> None:
        as_csv = path.suffix.casefold() != ".svg"
        write_file(
            self.app,
            lambda replacing: drawing.write(path.absolute(), as_csv=as_csv, replace=replacing),
            self.tell,
        )


def _entry(run: Run, marked: str) -> Entry:
    number = run.revision.partition("@")[2]
    mark = "*" if run.spec == marked else ""
    return Entry(run.spec, (mark, number, local_text(run.at), f"{run.seconds:,.1f} s", run.ended))
