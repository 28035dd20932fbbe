"""A class: each learner with their board, what was handed out to them, and what became of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.board_task import BoardTask, not_yet
from hostlink.app.screens.choosing import ChoosePath
from hostlink.app.screens.dialogues import write_file
from hostlink.app.ways import KEYS
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.jobs.class_register.class_table import HEADS, ClassRow, class_table, summary
from hostlink.jobs.class_register.evening import SeatJob, collecting, handing_out
from hostlink.jobs.class_register.register import Register, check_programs, read_register
from hostlink.jobs.class_register.seats import Seat, seats_of, unknown_words
from hostlink.jobs.class_register.take_home import write_class_page, write_folders
from hostlink.jobs.files import named_path

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.attached_board import AttachedBoard

_LOOK_S = 1.0  # between two looks at the ports, while boards are waited for


def read_class(app: DeskApp, path: Path) -> Register:
    """Return the register in a file. Raises RefusedError where it or a name in it is wrong."""
    register = read_register(path)
    check_programs(app.archive, register)
    return register


class ClassScreen(Page[None]):
    """Shows the table of a class, hands out to all its boards and collects from them."""

    AUTO_FOCUS = "#class"
    FOOT = (
        "H hands out to each board that is here, N each learner's own program, G saves from each. "
        "W waits for boards that come late, X stops. P writes a page, O folders to take home, A "
        "looks again. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("class.hand-out", "Hand out", "To each board that is here"),
        screen_key(
            *("class.own", "Hand out their own", "The program of each learner, as last saved"),
            action="hand_out(True)",
        ),
        screen_key("class.collect", "Collect", "Save each learner's program"),
        screen_key("class.late", "Wait for late boards", "Serve each as it comes; again: stop"),
        screen_key("class.page", "Write a page", "The table, for printing"),
        screen_key("class.folders", "Folders to take home", "Listing, sheet and history for each"),
        screen_key("class.stop", "Stop them all", "Each in good order"),
        screen_key("class.renew", "Look again", "At the ports, and at the register's file"),
        Binding("escape", "leave", "Back", tooltip="To the desk; the jobs go on"),
    ]

    def __init__(self, register: Register) -> None:
        super().__init__()
        self.register = register
        self.rows: dict[str, ClassRow] = {}
        self.tasks: dict[str, BoardTask] = {}
        self.column = 0  # of the table, in which the job under way is shown
        self.start: Callable[[list[Seat]], object] | None = None  # the last job, for late boards
        self.is_waiting = False

    def body(self) -> Iterator[Widget]:
        """Lay out the table, with the learner at its cursor in full."""
        error = "last error"
        columns = [ListColumn(head, -(head == error), extra=head == error) for head in HEADS]
        yield from with_detail(Rows(columns, empty="Nobody.", id="class"), id="class-detail")

    def on_mount(self) -> None:
        self.set_interval(_LOOK_S, self._look)

    def on_screen_resume(self) -> None:
        self.look_again()

    def look_again(self) -> None:
        """Read the table from the archive, and show it."""
        if not self.is_attached:  # a job may end after the screen has been left
            return
        found = self.app.attempt(lambda: class_table(self.register, self.app.archive))
        if found is not None:
            self.rows = {row.name: row for row in found}
            self._show()

    def _show(self) -> None:
        if not self.is_attached:
            return
        late = ", waiting" if self.is_waiting else ""
        failed = sum(task.failed for task in self.tasks.values())
        words = summary(self.rows.values()).rstrip(".") + f", {failed:,} failed" * (failed > 0)
        self.set_head(f"{self.register.title}: {words}{late}")
        self.query_one(Rows).show(
            [Entry(name, self._cells(row)) for name, row in self.rows.items()]
        )
        self.detail()

    def _cells(self, row: ClassRow) -> tuple[str, ...]:
        cells = list(row.cells(self.app.now()))
        task = self.tasks.get(row.name)
        if task is not None and task.failed:
            cells[self.column] = "failed"
        elif task is not None and not task.job.ended:
            cells[self.column] = task.lines or "under way"
        return tuple(cells)

    def detail(self) -> None:
        """Show the learner at the cursor in full."""
        row = self.rows.get(self.query_one(Rows).key)
        if row is None:
            return
        words = [f"{head}: {cell}" for head, cell in zip(HEADS, self._cells(row), strict=True)]
        task = self.tasks.get(row.name)
        if task is not None:
            words += [task.progress]
            words += [text for text, _ in task.job.progress.told]
        self.say("#class-detail", "\n".join(filter(None, words)))

    @property
    def is_at_rest(self) -> bool:
        """Return whether no job of the class is under way."""
        return all(task.job.ended for task in self.tasks.values())

    # --- the jobs ----------------------------------------------------------------------------

    def action_hand_out(self, own: bool = False) -> None:
        job = self.app.attempt(lambda: handing_out(self.register, self.app.archive, own=own))
        if job is not None:
            self._begin(HEADS.index("handed out"), "Handing out to", job, "is being loaded for")

    def action_collect(self) -> None:
        self._begin(HEADS.index("saved"), "Saving from", collecting())

    def _begin(self, column: int, what: str, job: SeatJob[Any], doing: str = "") -> None:
        """Do a job on each board that is plugged in; `_look` does it on those that come late.

        doing: what it does to the memory of a learner's board; see `AttachedBoard.doing`.
        """
        if not self.is_at_rest:
            self.app.notify(not_yet("class.stop"), markup=False)
            return
        self.tasks.clear()
        self.column = column

        def start(seats: list[Seat]) -> None:
            by_port = {self.app.boards.spelled(seat.port): seat for seat in seats}
            self.app.boards.attach_all(
                list(by_port),
                lambda attached: self._do(by_port[attached.port], attached, what, job, doing),
            )

        self.start = start
        seats = self._seats()
        if due := self._due(seats):
            start(due)
            return
        words = "No board of the class is plugged in."
        if unknown := unknown_words(seats):
            words += f" {unknown} On the desk, label one that is here {KEYS.label_board}."
        self.app.notify(words, markup=False)

    def _seats(self) -> list[Seat]:
        return self.app.attempt(lambda: seats_of(self.register, self.app.archive)) or []

    def _due(self, seats: list[Seat]) -> list[Seat]:
        """Return the seats whose boards are here and have not been served by this job."""
        return [each for each in seats if each.port and each.learner.name not in self.tasks]

    def _do(
        self, seat: Seat, attached: AttachedBoard, what: str, work: SeatJob[Any], doing: str
    ) -> None:
        name = seat.learner.name
        job = attached.do(
            f"{what} {name}",
            lambda session, archive: work(archive, seat.learner, session),
            doing=doing and f"{doing} {name}",
        )

        def changed() -> None:
            if job.ended:
                self.look_again()
            else:
                self._show()

        self.tasks[name] = BoardTask(name, job).start(self.app, changed)
        self._show()

    def action_stop(self) -> None:
        self.is_waiting = False
        for task in self.tasks.values():
            task.job.stop()
        self._show()

    def action_late(self) -> None:
        if self.start is None:
            hand_out, collect = way_to("class.hand-out"), way_to("class.collect")
            self.app.notify(f"Hand out ({hand_out}) or collect ({collect}) first.", markup=False)
            return
        self.is_waiting = not self.is_waiting
        self._show()

    def _look(self) -> None:
        """Serve the boards that have come late, if the user chose to wait for them.

        A board whose job failed is tried again only after it was unplugged.
        """
        if not self.is_waiting or self.start is None or self.app.screen is not self:
            return
        seats = self._seats()
        for seat in seats:
            task = self.tasks.get(seat.learner.name)
            if not seat.port and task is not None and task.failed:
                del self.tasks[seat.learner.name]
        if late := self._due(seats):
            self.start(late)

    def action_renew(self) -> None:
        path = self.register.path
        self.register = self.app.attempt(lambda: read_class(self.app, path)) or self.register
        self.look_again()

    # --- to take home ------------------------------------------------------------------------

    def action_page(self) -> None:
        def write(path: Path, replace: bool) -> str:
            rows, now = list(self.rows.values()), self.app.now()
            return write_class_page(path.absolute(), self.register, rows, now, replace=replace)

        self._ask_where("Write the page to which file?", ".html", write)

    def action_folders(self) -> None:
        def write(folder: Path, replace: bool) -> str:
            rows = list(self.rows.values())
            return write_folders(folder, self.app.archive, rows, replace=replace)

        self._ask_where("Write the learners' folders into which folder?", "", write)

    def _ask_where(self, question: str, suffix: str, write: Callable[[Path, bool], str]) -> None:
        day = self.app.now().astimezone().date()

        def answered(name: str | None) -> None:
            if name:
                path = named_path(name)
                write_file(self.app, lambda replace: write(path, replace), self.tell)

        value = f"{self.register.path.stem}-{day}{suffix}"
        self.app.push_screen(ChoosePath(question, value), answered)
