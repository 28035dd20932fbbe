"""Several boards at once: loaded, saved or backed up together, each with a line of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.board_task import BoardTask, not_yet
from hostlink.app.board_words import board_sentence, revision_words
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.dialogues import ask
from hostlink.app.sentences import NO_BOARD, NOTHING_SENT_YET, SHOWS_BOARDS
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Archive
from hostlink.errors import HostlinkError, RefusedError
from hostlink.jobs.backup import backup
from hostlink.jobs.listing_source import Material
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.many import dated_name, keep_once, port_names
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.session import Session
from hostlink.words import capital, plural

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard


class SeveralScreen(Page[None]):
    """Choose some of the attached boards and do one job on each of them at the same time."""

    AUTO_FOCUS = "#several"
    FOOT = (
        "L loads the editor's listing into each marked board, G saves each, K backs each up. "
        "Space marks. Enter tries one board again alone, X stops them all, A shows other boards. "
        "Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("several.mark", "Mark the board", "Only marked boards take part"),
        screen_key("several.load", "Load into each", "The editor's listing, kept once"),
        screen_key("several.save", "Save each", "Under the board's name and the date"),
        screen_key("several.backup", "Back up each", "Everything that each holds"),
        Binding(
            "enter",
            "alone",
            "Try one again alone",
            priority=True,
            tooltip="What failed, with the questions that it needs",
        ),
        screen_key("several.stop", "Stop them all", "Each in good order"),
        screen_key("several.boards", "Other boards", "To attach another one"),
        Binding("escape", "leave", "Back", tooltip="To the desk; the jobs go on"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.left_out: set[str] = set()  # ports that are not marked
        self.tasks: dict[str, BoardTask] = {}

    def body(self) -> Iterator[Widget]:
        """Lay out the list of attached boards, with the details of the chosen one."""
        others = way_to("several.boards")
        rows = Rows(
            [ListColumn("", 1), ListColumn("board", -1), ListColumn("how it goes", -1)],
            empty=f"{NO_BOARD} {others} {SHOWS_BOARDS}.",
            id="several",
        )
        yield from with_detail(rows, id="several-detail")

    def on_screen_resume(self) -> None:
        self.renew()

    def renew(self) -> None:
        """Show every attached board and how its job goes."""
        if not self.is_attached:  # a job may end after the screen has been left
            return
        boards = self.app.boards.by_port
        called = self._names()
        marked = len(self._marked())
        self.set_head(f"Several boards at once: {marked:,} of {plural(len(boards), 'board')}")
        self.query_one(Rows).show(
            [
                Entry(
                    port,
                    ("" if port in self.left_out else "*", called[port], self._words(attached)),
                )
                for port, attached in boards.items()
            ]
        )
        self.detail()

    def _names(self) -> dict[str, str]:
        """Return the name of each attached board by its port, each different."""
        return port_names(
            [each.choice for each in self.app.boards.by_port.values()], self.app.archive
        )

    def _sentence(self, attached: AttachedBoard, name: str) -> str:
        held = self.app.desk.states.held(attached.port)
        return board_sentence(name, held, doing=attached.doing)

    def _words(self, attached: AttachedBoard) -> str:
        task = self.tasks.get(attached.port)
        if task is None:
            return capital(self._sentence(attached, "").strip())
        return task.progress

    def detail(self, note: str = "") -> None:
        """Show the board at the cursor in full."""
        attached = self.app.boards.by_port.get(self.query_one(Rows).key)
        words: list[str] = []
        if attached is not None:
            name = self.app.desk.readings.name_of(attached)
            words = [note] * bool(note) + [f"{self._sentence(attached, name)}."]
            task = self.tasks.get(attached.port)
            if task is not None:
                words += ["", self._words(attached)]
                words += [text for text, _ in task.job.progress.told]
        self.say("#several-detail", "\n".join(words))

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.prevent_default().stop()
        task = self.tasks.get(event.key)
        if task is not None and task.failed:
            self.action_alone()
        else:
            self.action_mark()

    def action_mark(self) -> None:
        if port := self.query_one(Rows).key:
            self.left_out ^= {port}
            self.renew()

    def action_boards(self) -> None:
        self.app.push_screen(BoardsScreen())

    def action_stop(self) -> None:
        for task in self.tasks.values():
            task.job.stop()

    def action_alone(self) -> None:
        task = self.tasks.get(self.query_one(Rows).key)
        if task is not None and task.failed and task.alone is not None:
            task.alone()
        else:
            self.detail("Nothing has failed on this board.")

    # --- the jobs ----------------------------------------------------------------------------

    def _marked(self) -> list[AttachedBoard]:
        boards = self.app.boards.by_port
        return [each for port, each in boards.items() if port not in self.left_out]

    def _ready(self) -> list[AttachedBoard]:
        """Return the marked boards; if none is marked or one is at work, say so and return none."""
        boards = self._marked()
        if any(each.busy is not None and each.busy.shown for each in boards):
            words = not_yet("several.stop")
        elif not boards:
            mark, attach = way_to("several.mark"), way_to("several.boards")
            words = f"No board is marked: {mark} marks one, {attach} attaches one."
        else:
            return boards
        self.app.notify(words, markup=False)
        return []

    def _do(
        self,
        attached: AttachedBoard,
        what: str,
        work: Callable[[Session, Archive], Any],
        alone: Callable[[], object] | None,
        *,
        doing: str = "",
    ) -> None:
        """Start a job on one board; the board's row shows its progress and how it ended."""
        name = self._names()[attached.port]
        job = attached.do(f"{what} {name}", work, doing=doing)
        task = BoardTask(name, job, alone).start(self.app, self.renew)
        self.tasks[attached.port] = task
        self.renew()

    def action_load(self, *, despite_review: bool = False) -> None:
        boards = self._ready()
        pane = self.app.desk.sheet_pane
        if not boards:
            return
        if not pane.sheet.name and pane.editor.text.strip():
            pane.ask_name(lambda: self.action_load(despite_review=despite_review))
            return
        material = pane.sheet.as_material(pane.editor.text, self.app.boards.profile)
        options = LoadOptions(despite_review=despite_review)
        choices = [each.choice for each in boards]
        try:
            kept, options = keep_once(choices, self.app.archive, material, options, lambda _: None)
        except HostlinkError as error:
            is_review = isinstance(error, RefusedError) and bool(material.listing.numbered())
            if is_review and not despite_review:
                ask(
                    self.app,
                    error.what,
                    ("load", "Load anyway", lambda: self.action_load(despite_review=True)),
                    why=NOTHING_SENT_YET,
                )
            else:
                self.app.show_error(error)
            return
        for attached in boards:
            self._load(attached, kept, options)

    def _load(self, attached: AttachedBoard, material: Material, options: LoadOptions) -> None:
        transfers = self.app.desk.transfers
        self._do(
            attached,
            f"Loading {material.label} into",
            lambda session, archive: load(session, archive, material, options),
            lambda: transfers.start_load(attached, material, options),
            doing=f"is being loaded with {revision_words(material.label)}",
        )

    def action_save(self) -> None:
        today = self.app.now().astimezone().date()
        for attached in self._ready():
            name = dated_name(self._names()[attached.port], today)
            self._save(attached, SaveOptions(name=name, unless_held=True))

    def _save(self, attached: AttachedBoard, options: SaveOptions) -> None:
        transfers = self.app.desk.transfers
        self._do(
            attached,
            "Saving from",
            lambda session, archive: save(session, archive, options),
            lambda: transfers.start_save(attached, replace(options, unless_held=False)),
        )

    def action_backup(self) -> None:
        for attached in self._ready():
            self._do(attached, "Backing up", backup, None)
