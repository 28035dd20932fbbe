"""The desk: the board's state, the memory ruler, the listing with its costs, archive, console."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container, Vertical
from textual.content import Content
from textual.events import Paste
from textual.screen import Screen
from textual.widgets import Input, Static

from hostlink.app.board_states import BoardStates
from hostlink.app.console import ConsolePane
from hostlink.app.desk.actions import ACTIONS, BY_ID
from hostlink.app.desk.board_console import BoardConsole
from hostlink.app.desk.comparing import Comparing
from hostlink.app.desk.draft_keeper import DraftKeeper
from hostlink.app.desk.pastes import Pastes
from hostlink.app.desk.readings import Readings
from hostlink.app.desk.sheet_pane import SheetPane
from hostlink.app.desk.sheet_search import SheetSearch
from hostlink.app.desk.transfers import Transfers
from hostlink.app.desk.watch import Watch
from hostlink.app.desk.workshop import Workshop
from hostlink.app.layout import HEIGHTS, WIDTHS
from hostlink.app.screens.shelf import Shelf
from hostlink.app.widgets.editor import ListingEditor
from hostlink.app.widgets.ruler import MemoryRuler
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.screens.revisions import Wish

HELP = "F1 help"
HINT = f"Escape shows words for all jobs    {HELP}"
_AFTER_PAINT_S = 0.05


class Desk(Screen[None]):
    """The main screen. It lays out its parts and passes each action to the part that does it."""

    app: DeskApp
    HORIZONTAL_BREAKPOINTS = WIDTHS
    VERTICAL_BREAKPOINTS = HEIGHTS
    AUTO_FOCUS = "#listing"
    BINDINGS: ClassVar[list[BindingType]] = [action.binding for action in ACTIONS]

    def __init__(self) -> None:
        super().__init__()
        self.ruler = MemoryRuler(id="ruler")
        self.sheet_pane: SheetPane = SheetPane(self.ruler, id="sheet")
        self.shelf: Shelf = Shelf(id="shelf")
        self.states: BoardStates = BoardStates()
        self.readings: Readings = Readings(self)
        self.transfers: Transfers = Transfers(self)
        self.comparing: Comparing = Comparing(self)
        self.console: BoardConsole = BoardConsole(self)
        self.watcher: Watch = Watch(self)
        self.workshop: Workshop = Workshop(self)
        self.drafts: DraftKeeper = DraftKeeper(self)
        self.sheet_search: SheetSearch = SheetSearch(self)
        self.pastes: Pastes = Pastes(self)

    @property
    def editor(self) -> ListingEditor:
        """Return the listing's editor."""
        return self.sheet_pane.editor

    def compose(self) -> ComposeResult:
        yield Static("", id="board", markup=False)
        yield self.ruler
        with Container(id="body"):
            yield self.sheet_pane
            with Vertical(id="band"):
                yield self.shelf
                yield ConsolePane(id="console", classes="-away")
        yield Static(HINT, id="told", markup=False)

    def on_mount(self) -> None:
        self.set_timer(_AFTER_PAINT_S, self._begin)

    def _begin(self) -> None:
        """Open archive, profile and board, after the first drawing because they take time."""
        if not self.app.open_archive():
            return
        self.shelf.open(self.app.archive)
        self.app.begun = True
        self.readings.show()
        if self.app.settings.fault:
            self.app.tell(self.app.settings.fault)
        if self.app.opens:
            self.sheet_pane.open_word(self.app.opens)  # asks if text was typed meanwhile
        self.drafts.begin()
        if self.app.first_port:
            self.app.boards.attach(self.app.first_port)

    def action_work(self, name: str) -> None:
        """Run an action from a key or the palette. name: the `id` of one of ACTIONS."""
        BY_ID[name].work(self)

    def drain(self) -> None:
        """Process the news of all boards and the output of the current one."""
        self.watcher.look_around()
        if self.app.boards.current is not None:
            self.console.show(self.app.boards.current)

    def would_be_lost(self) -> Sequence[str]:
        """Return the reasons to ask before the app is left."""
        reasons = []
        if self.sheet_pane.unkept:
            self.drafts.write()
            stays = self.drafts.fault or "It stays as a draft."
            reasons.append(f"The text in the editor is not in the archive. {stays}")
        busy = [each.busy for each in self.app.boards.by_port.values() if each.busy]
        if any(job is not None and job.shown for job in busy):
            reasons.append(f"{plural(len(busy), 'job')} under way will be stopped.")
        return reasons

    # --- its parts ---------------------------------------------------------------------------

    def on_console_pane_entered(self, event: ConsolePane.Entered) -> None:
        event.stop()
        self.console.type_line(event.line)

    def on_sheet_pane_kept(self, event: SheetPane.Kept) -> None:
        event.stop()
        self.drafts.write()
        self.shelf.renew()

    def on_listing_editor_pasted(self, event: ListingEditor.Pasted) -> None:
        event.stop()
        self.pastes.take(event.text)

    def on_sheet_pane_edited(self, event: SheetPane.Edited) -> None:
        event.stop()
        self.drafts.text_changed()

    def on_shelf_opened(self, event: Shelf.Opened) -> None:
        event.stop()
        self.sheet_pane.open_word(event.word)

    def on_shelf_failed(self, event: Shelf.Failed) -> None:
        event.stop()
        self.app.show_error(event.error)

    def to_archive(self) -> None:
        """Move the focus to the archive's search."""
        self.show_band("shelf")
        self.query_one("#find", Input).focus()

    def to_console(self) -> None:
        """Move the focus to the console, or from there back to the archive."""
        if self.query_one(ConsolePane).has_focus_within:
            self.to_archive()
            return
        self.show_band("console")
        self.query_one("#console-line", Input).focus()

    def show_band(self, name: str) -> None:
        """Show the archive or the console where there is room for only one. name: its id."""
        for each in ("shelf", "console"):
            self.query_one(f"#{each}").set_class(each != name, "-away")

    def to_listing(self) -> None:
        """Move the focus to the listing; a search in the archive ends."""
        if self.query_one("#find", Input).value and self.shelf.has_focus_within:
            self.shelf.clear_search()
        self.editor.focus()

    def show_words(self) -> None:
        """Show the line of words, and do what is chosen there."""
        from hostlink.app.screens.words_line import WordsLine

        def chosen(answer: str | Paste | None) -> None:
            if isinstance(answer, Paste):
                (self.focused or self).post_message(Paste(answer.text))
            elif answer == "to-listing":
                self.to_listing()
            elif answer is not None:
                self.action_work(answer)

        self.app.push_screen(WordsLine(), chosen)

    def show_told(self, sentence: str) -> None:
        """Show a message in the last line."""
        with contextlib.suppress(Exception):
            text, room = safe(sentence), self.size.width - 2 - len(HELP)
            if text and len(text) < room - 2:
                text = f"{text:<{room}}{HELP}"
            self.query_one("#told", Static).update(Content(text or HINT))

    # --- the other screens -------------------------------------------------------------------

    def show_revisions(self) -> None:
        """Show the revisions of the program in the editor, or of the one at the list's cursor."""
        from hostlink.app.screens.revisions import RevisionsScreen

        material = self.sheet_pane.sheet.material
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
                self.sheet_pane.open_word(spec)
            elif what == "load":
                attached = self.readings.need()
                if attached is not None:
                    self.transfers.load_word(attached, spec)
            else:
                self.comparing.compare(spec)

        self.app.push_screen(RevisionsScreen(name), wished)

    def show_boards(self) -> None:
        """Show the screen of boards."""
        from hostlink.app.screens.boards import BoardsScreen

        self.app.push_screen(BoardsScreen())

    def show_settings(self) -> None:
        """Show the settings."""
        from hostlink.app.screens.settings import SettingsScreen

        self.app.push_screen(SettingsScreen())

    def show_backups(self) -> None:
        """Show the backups."""
        from hostlink.app.screens.backups import BackupsScreen

        self.app.push_screen(BackupsScreen())

    def show_stored(self) -> None:
        """Show the programs stored on the current board."""
        from hostlink.app.screens import stored

        attached = self.readings.need()
        if attached is not None:
            stored.show_stored(self.app, attached)

    def ask_for_image(self) -> None:
        """Ask for a firmware image, then show its review."""
        from hostlink.app.screens.dialogues import AskText
        from hostlink.app.screens.firmware import FirmwareScreen, review_file
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
