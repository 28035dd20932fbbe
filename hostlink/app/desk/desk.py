"""The desk: the board's state, the memory ruler, the listing with its costs, archive, console."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container, Vertical
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Input, Static

from hostlink.app.actions.table import ACTIONS, BY_ID
from hostlink.app.board_states import BoardStates
from hostlink.app.collector import let_collect
from hostlink.app.console import ConsoleLine, ConsolePane
from hostlink.app.desk.adapting import Adaptations
from hostlink.app.desk.archive_jobs import ArchiveJobs
from hostlink.app.desk.board_console import BoardConsole
from hostlink.app.desk.comparing import Comparing
from hostlink.app.desk.draft_keeper import DraftKeeper
from hostlink.app.desk.firmware_writes import FirmwareWrites
from hostlink.app.desk.input_run import InputRun
from hostlink.app.desk.job_progress import JobProgress
from hostlink.app.desk.last_line import LastLine
from hostlink.app.desk.other_screens import OtherScreens
from hostlink.app.desk.pastes import Pastes
from hostlink.app.desk.plotting import Plotting
from hostlink.app.desk.questions import Questions
from hostlink.app.desk.readings import Readings
from hostlink.app.desk.sheet_pane import SheetPane
from hostlink.app.desk.sheet_search import SheetSearch
from hostlink.app.desk.space import Space
from hostlink.app.desk.transfers import Transfers
from hostlink.app.desk.watch import Watch
from hostlink.app.desk.workshop import Workshop
from hostlink.app.layout import HEIGHTS, SLIM, WIDTHS
from hostlink.app.screens.shelf import Shelf
from hostlink.app.sentences import TEXT_NOT_KEPT
from hostlink.app.widgets.editor import ListingEditor
from hostlink.app.widgets.heading import Heading
from hostlink.app.widgets.ruler import MemoryRuler
from hostlink.errors import HostlinkError
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

_AFTER_PAINT_S = 0.05
_LOOK_FOR_PROGRAMS_S = 2.0  # how often to look for programs kept by another window


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
        self.progress: JobProgress = JobProgress(self)
        self.space: Space = Space(self)
        self.transfers: Transfers = Transfers(self)
        self.comparing: Comparing = Comparing(self)
        self.console: BoardConsole = BoardConsole(self)
        self.plotting: Plotting = Plotting(self)
        self.watcher: Watch = Watch(self)
        self.workshop: Workshop = Workshop(self)
        self.adapting: Adaptations = Adaptations(self)
        self.archive_jobs: ArchiveJobs = ArchiveJobs(self)
        self.input_run: InputRun = InputRun(self)
        self.firmware_writes: FirmwareWrites = FirmwareWrites(self)
        self.screens: OtherScreens = OtherScreens(self)
        self.drafts: DraftKeeper = DraftKeeper(self)
        self.sheet_search: SheetSearch = SheetSearch(self)
        self.pastes: Pastes = Pastes(self)
        self.last_line: LastLine = LastLine(self)
        self.questions: Questions = Questions(self)

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
        yield Static("", id="jobs", markup=False)
        yield Static("", id="asks", markup=False)
        yield Static("", id="told", markup=False)

    def on_mount(self) -> None:
        self.watch(self, "focused", self._focus_moved)
        self.watch(self.editor, "found", self._found_changed, init=False)
        self.last_line.show()
        self.set_timer(_AFTER_PAINT_S, self._begin)

    def on_resize(self, event: events.Resize) -> None:
        self.set_class(event.size.width < SLIM, "-slim")
        if self.app.begun:
            self.readings.show_board()
        self.last_line.show()

    def on_screen_suspend(self) -> None:
        """Show in the headings whether this screen gets the keys."""
        for heading in self.query(Heading):
            heading.follow_focus()

    on_screen_resume = on_screen_suspend

    def _focus_moved(self, focused: Widget | None) -> None:
        """Show the listing again when it gets the focus, if the screen has room for only one."""
        if focused is self.editor:
            self.remove_class("-in-band")

    def _found_changed(self, found: object) -> None:
        if found is None:
            self.sheet_search.left()

    def _begin(self) -> None:
        """Read what would delay the first drawing: styles, archive, profile, drafts, board."""
        self.app.read_screens_look()
        if not self.app.open_archive():
            return
        self.shelf.open(self.app.archive)
        self.app.begun = True
        self.set_interval(_LOOK_FOR_PROGRAMS_S, self.shelf.renew_if_changed)
        self.readings.show()
        if fault := self.app.settings.fault:  # a box: the board takes the last line in a moment
            self.app.show_error(HostlinkError(fault, advice="Mend the file, or delete it."))
        if self.app.opens:
            self.sheet_pane.open_word(self.app.opens)  # asks if text was typed meanwhile
        self.drafts.begin()
        if self.app.first_port:
            self.app.boards.attach(self.app.first_port)
        let_collect()

    def action_work(self, name: str) -> None:
        """Run an action from a key or the palette. name: the `id` of one of ACTIONS."""
        BY_ID[name].work(self)

    def drain(self) -> None:
        """Process the news of all boards and the output of the current one."""
        if self.app.boards.current is not None:
            self.console.show(self.app.boards.current)
        self.watcher.look_around()
        self.last_line.check()
        self.questions.check()

    def would_be_lost(self) -> Sequence[str]:
        """Return what leaving the app now would lose or stop, a sentence each."""
        reasons = []
        if self.sheet_pane.unkept:
            self.drafts.write()
            stays = self.drafts.fault or "It stays as a draft."
            reasons.append(f"{TEXT_NOT_KEPT} {stays}")
        if jobs := self.app.boards.under_way:
            reasons.append(f"{plural(len(jobs), 'job')} under way will be stopped.")
        return reasons

    # --- its parts ---------------------------------------------------------------------------

    def on_console_pane_entered(self, event: ConsolePane.Entered) -> None:
        event.stop()
        self.console.type_line(event.line)

    def on_console_line_pasted(self, event: ConsoleLine.Pasted) -> None:
        event.stop()
        self.console.paste(event.text)

    def on_sheet_pane_kept(self, event: SheetPane.Kept) -> None:
        event.stop()
        self.drafts.write()
        self.shelf.renew()
        self.shelf.show_program(self.sheet_pane.noted_program)

    def on_listing_editor_pasted(self, event: ListingEditor.Pasted) -> None:
        event.stop()
        self.pastes.take(event.text)

    def on_sheet_pane_edited(self, event: SheetPane.Edited) -> None:
        event.stop()
        self.drafts.text_changed()
        self.last_line.check()

    def on_memory_ruler_line_chosen(self, event: MemoryRuler.LineChosen) -> None:
        event.stop()
        self.sheet_pane.go_to_row(event.at)

    def on_shelf_opened(self, event: Shelf.Opened) -> None:
        event.stop()
        self.sheet_pane.open_word(event.word)

    def to_archive(self) -> None:
        """Move the focus to the archive's search."""
        self.show_band("shelf")
        self.query_one("#find", Input).focus()

    def to_console(self) -> None:
        """Move the focus to the console."""
        self.show_band("console")
        self.query_one("#console-line", Input).focus()

    def show_band(self, name: str) -> None:
        """Show the archive or the console where there is room for only one. name: its id."""
        self.add_class("-in-band")
        for each in ("shelf", "console"):
            self.query_one(f"#{each}").set_class(each != name, "-away")

    def to_listing(self) -> None:
        """Move the focus to the listing, and end a search in the archive."""
        if self.shelf.has_focus_within:
            self.query_one("#find", Input).value = ""
        self.remove_class("-in-band")
        self.progress.clear_news()
        self.editor.focus()

    def show_words(self) -> None:
        """Show the line of words, and do what is chosen there."""
        from hostlink.app.screens.words_line import WordsLine

        def chosen(work: Callable[[Desk], object] | None) -> None:
            if work is not None:
                work(self)

        self.app.push_screen(WordsLine(), chosen)

    def on_click(self, event: events.Click) -> None:
        """Open what the clicked words stand for."""
        clicked = event.widget.id if event.widget is not None else ""
        if clicked == "board":
            self.screens.boards()
        elif clicked == "asks":
            self.questions.answer()
        elif clicked == "finding" and self.sheet_pane.checked.findings:
            self.workshop.findings()

    @property
    def program(self) -> str:
        """Return the list's program if it has the focus, else the editor's, else the list's."""
        name = self.shelf.program if self.shelf.has_focus_within else ""
        return name or self.sheet_pane.noted_program or self.shelf.program
