"""The programs stored in the current board's EEPROM: listed, recalled into memory, stored."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.board_words import board_sentence
from hostlink.app.screens.dialogues import AskText, ask, ask_to_overwrite
from hostlink.app.sentences import under_which_name
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Archive
from hostlink.errors import NotKnownError
from hostlink.jobs.cautions import WEAR_WARNING
from hostlink.jobs.session.session import Session
from hostlink.jobs.store_recall import recall, recalled_words, store, stored_words
from hostlink.jobs.stored_programs import StoredSlot, slots_on_board, stored_slots
from hostlink.sentences import UNREADABLE_NOW
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.jobs.session.rescuing import HeldProgram


def show_stored(app: DeskApp, attached: AttachedBoard) -> None:
    """Show the programs stored on a board, or an error if it cannot store any."""
    job = attached.do("Listing the stored programs", _listed, shown=False)

    def done(slots: list[StoredSlot]) -> None:
        app.push_screen(StoredScreen(attached, slots))

    app.watch_job(job, done=done)


def _listed(session: Session, _: Archive) -> list[StoredSlot]:
    can_list = session.profile.commands.list_stored
    return stored_slots(session) if can_list else slots_on_board(session)


_KEPT_FIRST = "is kept in the archive first"


class StoredScreen(Page[None]):
    """Show the stored programs and the program in memory."""

    AUTO_FOCUS = "#stored"
    FOOT = (
        "Enter recalls a program into the board's memory. S stores what memory holds, not the "
        "editor's text. A lists again. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "enter",
            "recall",
            "Recall into memory",
            priority=True,
            tooltip=f"What memory holds {_KEPT_FIRST}",
        ),
        screen_key("stored.store", "Store what memory holds", "Under a name, proven"),
        screen_key("stored.renew", "List again", "Ask the board what it has stored"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, attached: AttachedBoard, slots: Sequence[StoredSlot]) -> None:
        super().__init__()
        self.attached = attached
        self.slots = list(slots)

    def body(self) -> Iterator[Widget]:
        """Lay out the programs stored on the board, with the details of the chosen one."""
        rows = Rows(
            [ListColumn("stored"), ListColumn("the board says", -1)],
            empty=f"Nothing is stored. {way_to('stored.store')} stores the program in memory.",
            id="stored",
        )
        yield from with_detail(rows, id="stored-detail")

    def on_mount(self) -> None:
        self._show()

    def _show(self) -> None:
        name = self.app.desk.readings.name_of(self.attached)
        head = f"Stored on {name}: {plural(len(self.slots), 'program')}"
        self.set_head(head)
        self.query_one(Rows).show([Entry(slot.name, (slot.name, slot.row)) for slot in self.slots])
        held = self.app.desk.states.held(self.attached.port)
        words = [f"{board_sentence(name, held)}.", "", WEAR_WARNING]
        self.say("#stored-detail", "\n".join(words))

    def action_renew(self) -> None:
        job = self.attached.do("Listing the stored programs", _listed, shown=False)

        def done(slots: list[StoredSlot]) -> None:
            self.slots = slots
            if self.is_attached:
                self._show()

        self.app.watch_job(job, done=done)

    def _read_again(self) -> None:
        """Read the board's memory and list its stored programs again, to show both here."""
        self.app.desk.readings.look_again(self.attached, quietly=True)
        self.action_renew()

    def _failed(self, _: BaseException) -> None:
        """Mark the contents of memory as unknown until it is read."""
        self.app.desk.readings.unknown_now(self.attached)
        self._show()

    # --- recalling ---------------------------------------------------------------------------

    def action_recall(self) -> None:
        name = self.query_one(Rows).key
        if not name:
            return
        job = self.attached.do(
            f"Recalling {name} into memory",
            lambda session, archive: recall(session, archive, name),
            doing=f"is being loaded with its stored {name}",
        )

        def done(held: HeldProgram) -> str:
            self.app.desk.readings.unknown_now(self.attached)
            self._read_again()
            return recalled_words(name, held)

        self.app.watch_job(job, done=done, failed=self._failed)

    # --- storing -----------------------------------------------------------------------------

    def action_store(self) -> None:
        spec = self.app.desk.states.held(self.attached.port).spec
        program, at, _ = spec.rpartition("@")
        slots = self.attached.choice.profile.commands.slots
        names = f"One of {', '.join(slots)}." if slots else "One short word."

        def named(name: str | None) -> None:
            if name:
                self._store_asked(name)

        self.app.push_screen(
            AskText(
                under_which_name("the program in memory", "store"),
                program if at and program != "rescue" and not slots else "",
                hint=f"{names} {WEAR_WARNING}",
            ),
            named,
        )

    def _store_asked(self, name: str) -> None:
        """Store under a name; ask first if the name is already in use."""
        commands = self.attached.choice.profile.commands
        taken = name.casefold() in {slot.name.casefold() for slot in self.slots}
        if not taken:
            self._store(name)
            return
        kept = f"What it holds now {_KEPT_FIRST}."
        if not commands.recall:
            kept = f"What it holds {UNREADABLE_NOW}, so it would be lost."
        ask(
            self.app,
            f"{name} is already stored. Replace it?",
            ("replace", f"Replace {name}", lambda: self._store(name)),
            why=kept,
        )

    def _store(self, name: str, *, discard_board: bool = False) -> None:
        job = self.attached.do(
            f"Storing what {self.app.desk.readings.name_of(self.attached)} holds as {name}",
            lambda session, archive: store(session, archive, name, discard_board=discard_board),
        )

        def done(before: HeldProgram) -> str:
            self._read_again()
            return stored_words(name, before)

        def failed(error: BaseException) -> Callable[[], object] | None:
            """Return the question if it is not known what would be overwritten."""
            self._failed(error)
            if not isinstance(error, NotKnownError):
                return None
            again = partial(self._store, name, discard_board=True)
            return partial(ask_to_overwrite, self.app, error, again)

        self.app.watch_job(job, done=done, failed=failed)
