"""Searching in the listing, and going to a line by its number."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from hostlink.app.actions.table import way_to
from hostlink.app.desk.part import DeskPart
from hostlink.sentences import no_numbered_line

if TYPE_CHECKING:
    from hostlink.app.desk.desk import Desk

_DIGITS = 6  # more than any line number has


class SheetSearch(DeskPart):
    """Finds text and line numbers in the editor. It changes nothing there but the cursor."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.text = ""
        self._told = ""

    def ask(self) -> None:
        """Ask for a text, and go to its next match."""
        from hostlink.app.screens.dialogues import AskText

        def answered(text: str | None) -> None:
            if text:
                self.text = text
                self.go(1)

        self.app.push_screen(
            AskText(
                "What do you want to find in the listing?",
                self.text,
                hint="Small and capital letters count as the same. "
                f"{way_to('search-next')} goes to the next match, "
                f"{way_to('search-previous')} to the previous one.",
            ),
            answered,
        )

    def go(self, way: int) -> None:
        """Go to the next match and mark it. way: 1 for below the cursor, -1 for above it."""
        if not self.text:
            self.ask()
            return
        editor = self.sheets.editor
        wanted = re.compile(re.escape(self.text), re.IGNORECASE)
        places = [
            (row, found.start())
            for row, line in enumerate(editor.text.split("\n"))
            for found in wanted.finditer(line)
        ]
        editor.focus()
        if not places:
            self.app.tell(f"{self.text} is not in the listing.", of_text=True)
            return
        here = min(editor.selection.start, editor.selection.end)
        if editor.found is None and editor.selection.is_empty and way > 0:
            here = (here[0], here[1] - 1)  # so that a match at the cursor counts
        further = [one for one in places if (one > here if way > 0 else one < here)]
        row, column = (further or places)[0 if way > 0 else -1]
        editor.show_found((row, column), len(self.text))
        around = "" if further else ", from the top again" if way > 0 else ", from the end again"
        number = places.index((row, column)) + 1
        self._told = f"{self.text}: match {number:,} of {len(places):,}{around}."
        self.app.tell(self._told, of_text=True)

    def left(self) -> None:
        """Remove the message about a match that the cursor has left."""
        self.desk.last_line.untell(self._told)

    def ask_for_number(self) -> None:
        """Ask for a line number, and go to that line or to the first one after it."""
        from hostlink.app.screens.dialogues import AskText

        def answered(text: str | None) -> None:
            if not text:
                return
            if not (text.isdecimal() and len(text) < _DIGITS):
                self.app.tell(f"No line has the number {text}; the cursor stays.")
                return
            self._go_to(int(text))

        self.app.push_screen(AskText("Which line number?"), answered)

    def _go_to(self, wanted: int) -> None:
        from hostlink.listing import Listing

        lines = Listing.from_text(self.sheets.editor.text).numbered()
        if not lines:
            self.app.tell(no_numbered_line())
            return
        number = min((one for one in lines if one >= wanted), default=max(lines))
        self.sheets.go_to_row(lines[number].at)
        if number != wanted:
            self.app.tell(f"There is no line {wanted:,}; this is line {number:,}.", of_text=True)
