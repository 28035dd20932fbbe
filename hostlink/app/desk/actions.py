"""Every action of the desk: one table for keys, palette, help and settings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.binding import Binding

if TYPE_CHECKING:
    from hostlink.app.desk.desk import Desk


@dataclass(frozen=True, slots=True)
class DeskAction:
    """An action of the desk: its permanent id, its key, its description and its function.

    key: "" for an action without one, which the palette finds by its words.
    """

    id: str
    key: str
    words: str
    tooltip: str
    work: Callable[[Desk], object]

    @property
    def binding(self) -> Binding:
        """Return the key's binding; keys with Ctrl take priority over the focused widget's."""
        return Binding(
            self.key,
            f"work('{self.id}')",
            self.words,
            tooltip=self.tooltip,
            id=self.id,
            priority=self.key.startswith("ctrl+"),
        )


ACTIONS = (
    DeskAction(
        "load",
        "ctrl+l",
        "Load into the board",
        "Send the listing, read it back, prove it",
        lambda desk: desk.transfers.load(),
    ),
    DeskAction(
        "save",
        "ctrl+g",
        "Save from the board",
        "Capture what the board holds as a revision",
        lambda desk: desk.transfers.save(),
    ),
    DeskAction(
        "keep",
        "ctrl+s",
        "Keep in the archive",
        "Store the listing in the editor as a revision",
        lambda desk: desk.sheet_pane.keep(),
    ),
    DeskAction(
        "new",
        "ctrl+n",
        "New listing",
        "An empty sheet; paste into it or type",
        lambda desk: desk.sheet_pane.new(),
    ),
    DeskAction(
        "open",
        "ctrl+o",
        "Open a listing file",
        "Or a folder or zip file of listings",
        lambda desk: desk.sheet_pane.ask_to_open(),
    ),
    DeskAction(
        "find",
        "ctrl+f",
        "Find in the archive",
        "By name, title, tag or a line",
        lambda desk: desk.to_archive(),
    ),
    DeskAction(
        "console",
        "ctrl+t",
        "Console",
        "Type to the board; again: back to the archive",
        lambda desk: desk.to_console(),
    ),
    DeskAction(
        "run",
        "alt+g",
        "Run the program on the board",
        "Its output comes here",
        lambda desk: desk.console.run(),
    ),
    DeskAction(
        "interrupt",
        "alt+x",
        "Interrupt the program",
        "Or stop the job on that board",
        lambda desk: desk.console.interrupt(),
    ),
    DeskAction(
        "restart",
        "alt+z",
        "Restart the board",
        "Its program is kept first",
        lambda desk: desk.console.restart(),
    ),
    DeskAction(
        "look",
        "alt+l",
        "Look at the board",
        "Read what it holds now",
        lambda desk: desk.readings.look(),
    ),
    DeskAction(
        "history",
        "alt+h",
        "Revisions",
        "All revisions of the program",
        lambda desk: desk.show_revisions(),
    ),
    DeskAction(
        "compare-board",
        "alt+c",
        "Compare with the board",
        "Line by line",
        lambda desk: desk.comparing.compare(""),
    ),
    DeskAction(
        "mend",
        "alt+m",
        "Mend the listing",
        "Repair what pasting did to it",
        lambda desk: desk.sheet_pane.mend(),
    ),
    DeskAction(
        "findings",
        "alt+v",
        "Review: every finding",
        "And silence a rule",
        lambda desk: desk.workshop.findings(),
    ),
    DeskAction(
        "references",
        "alt+e",
        "Cross-reference",
        "Who uses a line, a variable",
        lambda desk: desk.workshop.references(),
    ),
    DeskAction(
        "shrink",
        "alt+d",
        "Make it smaller",
        "By levels, or until it fits",
        lambda desk: desk.workshop.shrink(),
    ),
    DeskAction(
        "renumber",
        "alt+r",
        "Renumber",
        "New line numbers; jumps follow",
        lambda desk: desk.workshop.renumber(),
    ),
    DeskAction(
        "sheet",
        "alt+w",
        "Write a listing sheet",
        "To type from, with codes",
        lambda desk: desk.workshop.sheet(),
    ),
    DeskAction(
        "check-codes",
        "alt+t",
        "Check codes",
        "Which lines were typed wrong",
        lambda desk: desk.workshop.check_codes(),
    ),
    DeskAction(
        "card",
        "alt+u",
        "Write the board's card",
        "Its words and limits",
        lambda desk: desk.workshop.card(),
    ),
    DeskAction(
        "give",
        "alt+j",
        "Give listings out",
        "As files or as one zip file",
        lambda desk: desk.workshop.give(),
    ),
    DeskAction(
        "name",
        "alt+n",
        "Name the listing",
        "The program it is kept under",
        lambda desk: desk.sheet_pane.ask_for_name(),
    ),
    DeskAction(
        "boards",
        "alt+y",
        "Boards",
        "Attach, detach, label, choose",
        lambda desk: desk.show_boards(),
    ),
    DeskAction(
        "backup",
        "alt+k",
        "Back up the board",
        "All that it holds",
        lambda desk: desk.transfers.backup(),
    ),
    DeskAction(
        "put-back",
        "alt+p",
        "Put back a backup",
        "All of it, or single items",
        lambda desk: desk.show_backups(),
    ),
    DeskAction(
        "stored",
        "alt+o",
        "Programs stored on the board",
        "Store and recall",
        lambda desk: desk.show_stored(),
    ),
    DeskAction(
        "firmware",
        "alt+i",
        "Firmware",
        "Review an image, write it",
        lambda desk: desk.ask_for_image(),
    ),
    DeskAction(
        "settings",
        "alt+s",
        "Settings",
        "Theme, default port and profile",
        lambda desk: desk.show_settings(),
    ),
    DeskAction(
        "quiet",
        "",
        "Only listing and console",
        "Large, as for a projector; again: everything",
        lambda desk: desk.be_quiet(),
    ),
    DeskAction(
        "big-console",
        "",
        "Large console",
        "Most of the screen; again: its usual place",
        lambda desk: desk.enlarge_console(),
    ),
    DeskAction(
        "to-listing",
        "escape",
        "Back to the listing",
        "From archive or console",
        lambda desk: desk.to_listing(),
    ),
)
