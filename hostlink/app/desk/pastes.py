"""What is pasted into the listing: it is mended, then numbered lines take their place."""

from __future__ import annotations

from collections.abc import Callable, Collection

from textual.widgets.text_area import Selection

from hostlink.app.desk.part import DeskPart
from hostlink.app.placing import place_lines
from hostlink.app.sheet import Sheet
from hostlink.words import plural


class Pastes(DeskPart):
    """Mends texts, and puts several pasted lines into the editor. Each is undone by one Ctrl+Z."""

    def mend(self) -> None:
        """Mend the text in the editor."""
        self._mended(self.sheets.editor.text, self._take_mended)

    def _take_mended(self, text: str) -> None:
        if text == self.sheets.editor.text:
            self.app.tell("There is nothing to mend in this listing.", of_text=True)
        else:
            self.sheets.take_text(text, "The listing is mended")

    def take(self, text: str) -> None:
        """Mend pasted lines, and put them into the listing."""
        self._mended(text.replace("\r\n", "\n").replace("\r", "\n"), self._place)

    def _mended(self, text: str, go_on: Callable[[str], None]) -> None:
        """Show the repairs to a text, if it needs any, and go on with those that are accepted."""
        from hostlink.app.screens.mending import MendScreen
        from hostlink.listing import mend

        rules = self.app.boards.profile.rules
        mended = mend(text, rules)
        if not mended.mends:
            go_on(mended.text)
            return

        def taken(answer: str | None) -> None:
            if answer is not None:
                go_on(answer)

        self.app.push_screen(MendScreen(text, rules), taken)

    def _place(self, text: str) -> None:
        """Put pasted lines where they belong; ask before they replace a whole listing."""
        from hostlink.listing import Listing

        editor = self.sheets.editor
        pasted = Listing.from_text(text).numbered()
        if not editor.text.strip():
            self.sheets.take_text(text, "The listing was pasted")
        elif not pasted:
            editor.insert_whole(text)
        elif self._is_whole(pasted):
            self._ask(text, plural(len(pasted), "line"))
        else:
            self._by_number(text)

    def _is_whole(self, pasted: Collection[int]) -> bool:
        """Return whether pasted lines look like a whole listing that replaces the present one.

        They do if they reach from its first line to its last, or if all of it is selected.
        """
        from hostlink.listing import Listing

        editor = self.sheets.editor
        selected = sorted(editor.selection)
        here = Listing.from_text(editor.text).numbered()
        if not here or selected == [(0, 0), editor.document.end]:
            return True
        return min(pasted) <= min(here) and max(pasted) >= max(here)

    def _by_number(self, text: str) -> None:
        """Put numbered lines where their numbers belong, in place of what is selected."""
        from hostlink.listing import Listing

        editor = self.sheets.editor
        start, end = sorted(editor.selection)
        before = editor.text
        if start != end:
            before = editor.get_text_range((0, 0), start)
            before += editor.get_text_range(end, editor.document.end)
        selected = Listing.from_text(editor.selected_text).numbered()
        removed = len(selected.keys() - Listing.from_text(text).numbered().keys())
        placed = place_lines(before, text)
        told = f"{plural(placed.lines, 'line')} took "
        told += f"{'its place' if placed.lines == 1 else 'their places'} by number"
        if placed.replaced:
            told += f", {placed.replaced:,} replaced"
        if removed:
            told += f", {plural(removed, 'selected line')} removed"
        self.sheets.take_text(placed.text, told)
        editor.selection = Selection.cursor((placed.row, 0))

    def _ask(self, text: str, lines: str) -> None:
        from hostlink.app.screens.dialogues import Ask

        def answered(answer: str | None) -> None:
            if answer == "number":
                self._by_number(text)
            elif answer == "replace":
                self.sheets.take_text(text, "The listing was replaced")
            elif answer == "new":
                self.sheets.unless_lost(lambda: self.sheets.show_sheet(Sheet(), text))
            else:
                self.app.tell("The listing is as it was; nothing was put in.", of_text=True)

        title = self.sheets.sheet.name or "the listing here"
        self.app.push_screen(
            Ask(
                f"A whole listing of {lines} was pasted over {title}.",
                [
                    ("leave", "Leave the listing as it is"),
                    ("number", "Put the lines in by their numbers"),
                    ("replace", f"Replace the text of {title}"),
                    ("new", "Open it as a new listing"),
                ],
                why="Ctrl+Z takes back what was put in or replaced.",
            ),
            answered,
        )
