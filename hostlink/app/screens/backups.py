"""The archive's backups: what each contains, what of it fits the board, and putting it back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.board_words import ago
from hostlink.app.screens.dialogues import ask, ask_to_overwrite
from hostlink.app.sentences import LEAVE_BOARD
from hostlink.app.sheet import Sheet
from hostlink.app.widgets.page import Page
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Backup, BackupItem
from hostlink.archive.times import local_text
from hostlink.board.port.ports import identity_of
from hostlink.errors import NotKnownError
from hostlink.jobs.putback import MisfitError, PutBack, putback
from hostlink.jobs.putback_fit import Misfit, misfits
from hostlink.jobs.session.last_known import known_board
from hostlink.sentences import NOT_ALL_FITS
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.attached_board import AttachedBoard

MOST = 500  # backups that are listed


def put_back(
    app: DeskApp,
    attached: AttachedBoard,
    backup: Backup,
    items: Sequence[BackupItem],
    found: Sequence[Misfit],
) -> None:
    """Put items back on a board; ask first about items that are known not to fit."""
    wrong = {each.name for each in found}
    rest = [item for item in items if item.name not in wrong]
    if not found:
        _start(app, attached, backup, items)
        return
    names = ", ".join(item.name for item in rest)
    fits = ("rest", f"Put back what fits: {names}", lambda: _start(app, attached, backup, rest))
    ask(
        app,
        f"{NOT_ALL_FITS}.",
        *([fits] if rest else []),
        leave=LEAVE_BOARD,
        why="\n".join(f"{each.name}: {each.why}." for each in found),
    )


def _start(
    app: DeskApp,
    attached: AttachedBoard,
    backup: Backup,
    items: Sequence[BackupItem],
    *,
    discard_board: bool = False,
) -> None:
    names = [item.name for item in items]
    of = f" of {backup.board}" if backup.board else ""
    job = attached.do(
        f"Putting {backup.spec}{of} back on {app.desk.readings.name_of(attached)}",
        lambda session, archive: putback(
            session, archive, backup, names, discard_board=discard_board
        ),
        doing=f"is being restored from {backup.spec}",
    )

    def done(result: PutBack) -> str:
        app.desk.readings.unknown_now(attached)
        app.desk.readings.look_again(attached, quietly=True)
        return " ".join(result.sentences)

    def failed(error: BaseException) -> Callable[[], object] | None:
        """Return the question if items do not fit, or what they replace is not known."""
        app.desk.readings.unknown_now(attached)
        attached.read_at = None
        if isinstance(error, MisfitError):
            found = error.found
            return lambda: put_back(app, attached, backup, items, found)
        if isinstance(error, NotKnownError):
            again = partial(_start, app, attached, backup, items, discard_board=True)
            return partial(ask_to_overwrite, app, error, again)
        return None

    app.watch_job(job, done=done, failed=failed)


class BackupsScreen(Page[None]):
    """Choose a backup, or single items of it; the current board's backups come first."""

    AUTO_FOCUS = "#backups"
    FOOT = (
        "Enter puts the backup back, or only what Space marks in the list of items; Tab goes "
        "there. O opens an item in the editor. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "enter",
            "put_back",
            "Put it back",
            priority=True,
            tooltip="The marked items, or all; what they replace is kept first",
        ),
        screen_key("backups.mark", "Mark the item", "Then only marked ones are put back"),
        screen_key("backups.open", "Open the item", "Put its listing into the editor"),
        Binding("tab", "other_list", "Backups or items", tooltip="To the other list"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.backups: dict[str, Backup] = {}
        self.marked: set[str] = set()
        self._mine = ""  # the UUID of the current board
        self._wrong: list[Misfit] = []

    def body(self) -> Iterator[Widget]:
        """Lay out the list of backups beside the contents of the chosen one."""
        with Horizontal(classes="across"):
            yield Rows(
                [
                    ListColumn("backup"),
                    ListColumn("made"),
                    ListColumn("board", -1, extra=True),
                    ListColumn("items", right=True),
                    ListColumn("", 1),
                    ListColumn("note", -1),
                ],
                empty=f"There is no backup yet. {way_to('backup')} on the desk makes one.",
                id="backups",
            )
            with Vertical(classes="side"):
                yield Rows(
                    [
                        ListColumn("", 1),
                        ListColumn("item"),
                        ListColumn("bytes", right=True),
                        ListColumn("", 1),
                        ListColumn("fits", -1),
                    ],
                    id="items",
                )
                yield Static("", id="backup-detail", markup=False)

    def on_mount(self) -> None:
        current = self.app.boards.current
        board = None
        if current is not None:
            board = known_board(self.app.archive, identity_of(current.port))
        found = self.app.archive.backups(limit=MOST)
        self._mine = mine = board.uuid if board is not None else ""
        found.sort(key=lambda one: one.board_uuid != mine)
        self.backups = {one.spec: one for one in found}
        words = plural(len(found), "backup")
        own = sum(one.board_uuid == mine for one in found)
        if current is not None:
            words += f", {own:,} of {self.app.desk.readings.name_of(current)}"
        self.set_head(f"Backups: {words}")
        self.query_one("#backups", Rows).show(
            [
                Entry(
                    one.spec,
                    (
                        one.spec,
                        local_text(one.at),
                        one.board or one.where.partition("?")[0],
                        str(len(one.items)),
                        "",
                        one.note,
                    ),
                )
                for one in found
            ]
        )
        self._chosen_changed()

    @property
    def chosen(self) -> Backup | None:
        """Return the backup at the cursor."""
        return self.backups.get(self.query_one("#backups", Rows).key)

    def on_rows_moved(self, event: Rows.Moved) -> None:
        event.stop()
        if event.rows.id == "backups":
            self._chosen_changed()
        else:
            self._detail()

    def _chosen_changed(self) -> None:
        """Show the backup at the cursor with none of its items marked."""
        self.marked.clear()
        self._wrong = self._misfits(self.chosen)
        self._show_items()

    def _misfits(self, backup: Backup | None) -> list[Misfit]:
        """Return what does not fit by the profile; ignore sizes for a board's own backup."""
        if backup is None:
            return []
        profile = self.app.boards.profile
        storage = profile.rules.storage
        if backup.board_uuid == self._mine:
            return misfits(profile, backup.items, 0)
        return misfits(profile, backup.items, storage.room, storage.eeprom_bytes)

    def _show_items(self) -> None:
        backup = self.chosen
        wrong = {each.name for each in self._wrong}
        self.query_one("#items", Rows).show(
            [
                Entry(
                    item.name,
                    (
                        "*" if item.name in self.marked else "",
                        item.marked_name,
                        f"{item.content.size_bytes or 0:,}",
                        "",
                        "no" if item.name in wrong else "yes",
                    ),
                )
                for item in (backup.items if backup is not None else ())
            ]
        )
        self._detail()

    def _detail(self) -> None:
        backup = self.chosen
        text = ""
        if backup is not None:
            key = self.query_one("#items", Rows).key
            why = next((each.why for each in self._wrong if each.name == key), "")
            restarted = ", after the board had restarted" if backup.after_restart else ""
            text = f"{ago(backup.at, self.app.now())}, profile {backup.profile}{restarted}"
            if why:
                text = f"{key} does not fit: {why}"
        self.say("#backup-detail", text)

    def action_mark(self) -> None:
        name = self.query_one("#items", Rows).key
        if name:
            self.marked ^= {name}
            self._show_items()

    def action_put_back(self) -> None:
        backup = self.chosen
        if backup is None:
            return
        attached = self.app.desk.readings.need()
        if attached is None:
            return
        items = [item for item in backup.items if not self.marked or item.name in self.marked]
        names = {item.name for item in items}
        found = [each for each in self._wrong if each.name in names]
        self.dismiss()
        put_back(self.app, attached, backup, items, found)

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.prevent_default().stop()
        if event.rows.id == "items":
            self.action_mark()
        else:
            self.action_put_back()

    def action_other_list(self) -> None:
        self.focus_next()

    def action_open(self) -> None:
        backup = self.chosen
        key = self.query_one("#items", Rows).key
        if backup is None:
            return
        item = next((one for one in backup.items if one.name == key), None)
        if item is None:
            return
        desk, text = self.app.desk, item.content.text
        self.dismiss()
        desk.sheet_pane.unless_lost(
            lambda: desk.sheet_pane.show_sheet(Sheet(name=item.slot.upper()), text)
        )
