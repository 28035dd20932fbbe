"""The desk: the board in a sentence, the ruler, the listing with its cost, archive and console."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Horizontal, Vertical
from textual.widgets import Static

from hostlink.app.console import ConsolePane
from hostlink.app.editor import Ledger, ListingEditor
from hostlink.app.layout import HEIGHTS, WIDTHS
from hostlink.app.ruler import MemoryRuler
from hostlink.app.sheet import open_sheet
from hostlink.app.sheet_desk import HINT
from hostlink.app.shelf import Shelf
from hostlink.app.texts import revision_words
from hostlink.app.workshop_desk import WorkshopDesk

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.revisions import Wish
    from hostlink.jobs.backup import BackedUp
    from hostlink.jobs.looking import Looked

_AFTER_PAINT_S = 0.05


class Desk(WorkshopDesk):
    """The main screen."""

    app: DeskApp
    HORIZONTAL_BREAKPOINTS = WIDTHS
    VERTICAL_BREAKPOINTS = HEIGHTS
    AUTO_FOCUS = "#listing"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "ctrl+l",
            "load",
            "Load into the board",
            priority=True,
            tooltip="Send the listing, read it back, prove it",
        ),
        Binding(
            "ctrl+g",
            "save",
            "Save from the board",
            priority=True,
            tooltip="Capture what the board holds as a revision",
        ),
        Binding(
            "ctrl+s",
            "keep",
            "Keep in the archive",
            priority=True,
            tooltip="Store the listing in the editor as a revision",
        ),
        Binding(
            "ctrl+n",
            "new",
            "New listing",
            priority=True,
            tooltip="An empty sheet; paste into it or type",
        ),
        Binding(
            "ctrl+o",
            "open",
            "Open a listing file",
            priority=True,
            tooltip="Or a folder or zip file of listings",
        ),
        Binding(
            "ctrl+f",
            "find",
            "Find in the archive",
            priority=True,
            tooltip="By name, title, tag or a line",
        ),
        Binding(
            "ctrl+t",
            "console",
            "Console",
            priority=True,
            tooltip="Type to the board; again: back to the archive",
        ),
        Binding("alt+g", "run", "Run the program on the board", tooltip="Its output comes here"),
        Binding("alt+x", "interrupt", "Interrupt the program", tooltip="The one that runs there"),
        Binding("alt+z", "restart", "Restart the board", tooltip="Its program is kept first"),
        Binding("alt+l", "look", "Look at the board", tooltip="Read what it holds now"),
        Binding("alt+h", "history", "Revisions", tooltip="All revisions of the program"),
        Binding("alt+c", "compare_board", "Compare with the board", tooltip="Line by line"),
        Binding("alt+m", "mend", "Mend the listing", tooltip="Repair what pasting did to it"),
        Binding("alt+v", "findings", "Review: every finding", tooltip="And silence a rule"),
        Binding("alt+e", "references", "Cross-reference", tooltip="Who uses a line, a variable"),
        Binding("alt+d", "shrink", "Make it smaller", tooltip="By levels, or until it fits"),
        Binding("alt+r", "renumber", "Renumber", tooltip="New line numbers; jumps follow"),
        Binding("alt+w", "sheet", "Write a listing sheet", tooltip="To type from, with codes"),
        Binding("alt+t", "check_codes", "Check codes", tooltip="Which lines were typed wrong"),
        Binding("alt+u", "card", "Write the board's card", tooltip="Its words and limits"),
        Binding("alt+j", "give", "Give listings out", tooltip="As files or as one zip file"),
        Binding("alt+n", "name", "Name the listing", tooltip="The program it is kept under"),
        Binding("alt+y", "boards", "Boards", tooltip="Attach, detach, label, choose"),
        Binding("alt+k", "backup", "Back up the board", tooltip="All that it holds"),
        Binding("alt+p", "put_back", "Put back a backup", tooltip="All of it, or single items"),
        Binding("alt+o", "stored", "Programs stored on the board", tooltip="Store and recall"),
        Binding("alt+i", "firmware", "Firmware", tooltip="Review an image, write it"),
        Binding("alt+s", "settings", "Settings", tooltip="Theme, default port and profile"),
        Binding("escape", "to_listing", "Back to the listing", tooltip="From archive or console"),
    ]

    def compose(self) -> ComposeResult:
        yield Static("", id="board", markup=False)
        yield MemoryRuler(id="ruler")
        editor = ListingEditor(id="listing")
        with Container(id="body"):
            with Vertical(id="sheet"):
                with Horizontal(id="sheet-head"):
                    yield Static("", id="sheet-name", markup=False)
                    yield Static(Ledger.HEAD, id="ledger-head", markup=False)
                with Horizontal(id="text-and-ledger"):
                    yield editor
                    yield Ledger(editor, id="ledger")
                yield Static("", id="finding", markup=False)
            with Vertical(id="band"):
                yield Shelf(id="shelf")
                yield ConsolePane(id="console", classes="-away")
        yield Static(HINT, id="told", markup=False)

    def on_mount(self) -> None:
        self.set_timer(_AFTER_PAINT_S, self._begin)

    def _begin(self) -> None:
        """What takes time comes after the first drawing: archive, profile, board."""
        if not self.app.open_archive():
            return
        self.shelf.open(self.app.archive)
        self.begun = True
        self.board_changed()
        if self.app.settings.trouble:
            self.app.tell(self.app.settings.trouble)
        if self.app.opens:
            self.app.careful(lambda: self.show_sheet(open_sheet(self.app.opens, self.app.archive)))
        if self.app.first_port:
            self.app.attach(self.app.first_port)

    # --- the other screens -------------------------------------------------------------------

    def action_history(self) -> None:
        """The revisions of the program in the editor, else of the one at the list's cursor."""
        from hostlink.app.revisions import RevisionsScreen

        material = self.sheet.material
        revision = material.revision if material is not None else None
        name = self.shelf.program if self.shelf.has_focus_within else ""
        name = name or (revision.program if revision is not None else self.shelf.program)
        if not name:
            self.app.tell("There is no program in the archive yet: keep the listing first.")
            return

        def wished(wish: Wish | None) -> None:
            self.shelf.renew()  # restored, retired or put back meanwhile
            if wish is None:
                return
            what, spec = wish
            if what == "open":
                self.open_word(spec)
            elif what == "load":
                attached = self.need_board()
                if attached is not None:
                    self.load_word(attached, spec)
            else:
                self.compare_with_board(spec)

        self.app.push_screen(RevisionsScreen(name), wished)

    def action_compare_board(self) -> None:
        self.compare_with_board("")

    def compare_with_board(self, spec: str) -> None:
        """Compare a revision, or with "" the text in the editor, with what the board holds now."""
        from hostlink.app.compare import CompareScreen
        from hostlink.jobs.looking import look
        from hostlink.jobs.material import from_archive
        from hostlink.listing import Listing

        attached = self.need_board()
        if attached is None:
            return
        text, name = self.editor.text, "the editor"
        if spec:
            held = self.app.careful(lambda: from_archive(spec, self.app.archive))
            if held is None:
                return
            text, name = held.text, revision_words(spec)
        job = attached.do("Reading the board", look, shown=False)

        def done(looked: Looked) -> str:
            self.took_look(attached, looked)
            board = looked.content.text if looked.content is not None else ""
            self.app.push_screen(
                CompareScreen(
                    Listing.from_text(text),
                    Listing.from_text(board),
                    (name, self.board_name(attached)),
                    self.app.profile.rules,
                )
            )
            return "The board was read; nothing was changed."

        self.app.watch_job(job, done=done)

    def action_boards(self) -> None:
        from hostlink.app.boards import BoardsScreen

        self.app.push_screen(BoardsScreen())

    def action_settings(self) -> None:
        from hostlink.app.settings_screen import SettingsScreen

        self.app.push_screen(SettingsScreen())

    def action_backup(self) -> None:
        from hostlink.jobs.backup import backup

        attached = self.need_board()
        if attached is None:
            return
        job = attached.do(f"Backing up {self.board_name(attached)}", backup)

        def done(backed: BackedUp) -> str:
            names = ", ".join(item.name for item in backed.backup.items)
            unread = "".join(
                f" {name} could not be read: {why}" for name, why in backed.unread.items()
            )
            return f"Kept as {backed.backup.spec}: {names}.{unread}"

        self.app.watch_job(job, done=done)

    def action_put_back(self) -> None:
        from hostlink.app.backups import BackupsScreen

        self.app.push_screen(BackupsScreen())

    def action_stored(self) -> None:
        from hostlink.app.stored import show_stored

        attached = self.need_board()
        if attached is not None:
            show_stored(self.app, attached)

    def action_firmware(self) -> None:
        from hostlink.app.dialogues import AskText
        from hostlink.app.firmware import FirmwareScreen, review_file
        from hostlink.jobs.files import named_path

        def answered(name: str | None) -> None:
            if not name:
                return
            if name == "-":
                self.app.push_screen(FirmwareScreen(None))
                return
            path = named_path(name)
            reviewed = self.app.careful(lambda: review_file(path))
            if reviewed is not None:
                self.app.push_screen(FirmwareScreen(reviewed))

        self.app.push_screen(
            AskText(
                "Which firmware image?",
                hint="An Intel HEX file; it is only reviewed. A lone - shows what was written "
                "where, and goes back to the image before.",
            ),
            answered,
        )
