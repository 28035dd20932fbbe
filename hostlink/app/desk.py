"""The desk: the board in a sentence, the ruler, the listing with its cost, archive and console."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Horizontal, Vertical
from textual.widgets import Static

from hostlink.app.board_desk import BoardDesk
from hostlink.app.console import ConsolePane
from hostlink.app.editor import Ledger, ListingEditor
from hostlink.app.layout import HEIGHTS, WIDTHS
from hostlink.app.ruler import MemoryRuler
from hostlink.app.sheet import open_sheet
from hostlink.app.shelf import Shelf
from hostlink.jobs.material import shipped_programs

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

_LARGE = 40_000  # characters; larger texts are reviewed only after a pause in typing
_PAUSE_S = 0.3
HINT = "Ctrl+P every action    F1 help"


class Desk(BoardDesk):
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
            tooltip="By its name, or drop it on the terminal",
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
        Binding("alt+x", "interrupt", "Break", tooltip="Interrupt a running program"),
        Binding("alt+z", "restart", "Restart the board", tooltip="Its program is kept first"),
        Binding("alt+l", "look", "Look at the board", tooltip="Read what it holds now"),
        Binding("alt+h", "history", "Revisions", tooltip="All revisions of the program"),
        Binding("alt+c", "compare_board", "Compare with the board", tooltip="Line by line"),
        Binding("alt+m", "mend", "Mend the listing", tooltip="Repair what pasting did to it"),
        Binding("alt+n", "name", "Name the listing", tooltip="The program it is kept under"),
        Binding("alt+b", "boards", "Boards", tooltip="Attach, detach, label, choose"),
        Binding("alt+k", "backup", "Back up the board", tooltip="All that it holds"),
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
                shipped = list(shipped_programs().values())
                yield Shelf(self.app.archive, shipped, id="shelf")
                yield ConsolePane(id="console", classes="-away")
        yield Static(HINT, id="told", markup=False)

    def on_mount(self) -> None:
        self.board_changed()
        self.check()
        if self.app.settings.trouble:
            self.app.tell(self.app.settings.trouble)
        if self.app.opens:
            self.app.careful(lambda: self.show_sheet(open_sheet(self.app.opens, self.app.archive)))
        if self.app.first_port:
            self.app.attach(self.app.first_port)
