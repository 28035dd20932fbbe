"""Mend what is pasted into the listing, and put numbered lines where they belong."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from textual.widgets.text_area import Selection

from hostlink.app.desk.part import DeskPart
from hostlink.app.placing import place_lines, would_mix
from hostlink.app.sheet import Sheet
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.listing import Doubt, Line


class Pastes(DeskPart):
    """Mends texts, and puts several pasted lines into the editor. Each is undone by one Ctrl+Z."""

    def mend(self) -> None:
        """Mend the text in the editor."""
        self._mended(self.sheets.editor.text, self._take_mended)

    def _take_mended(self, text: str, doubts: Sequence[Doubt]) -> None:
        if text == self.sheets.editor.text:
            words = "There is nothing to mend in this listing."
            if doubts:
                words = f"Change row {doubts[0].line:,} by hand: what was meant cannot be known. "
                words += doubts[0].sentence
            self.app.tell(words, of_text=True)
        else:
            self.sheets.take_text(text, "The listing is mended")

    def take(self, text: str) -> None:
        """Mend pasted lines, and put them into the listing."""
        self._mended(text, lambda mended, _: self._place(mended))

    def _mended(self, text: str, go_on: Callable[[str, Sequence[Doubt]], None]) -> None:
        """Show the repairs to a text, if it needs any, and go on with those that are accepted.

        go_on: called with the mended text and with the doubts, which were left unchanged.
        """
        from hostlink.app.screens.mending import MendScreen
        from hostlink.listing import mend

        rules = self.app.boards.profile.rules
        mended = mend(text, rules)
        if not mended.mends:
            go_on(mended.text, mended.doubts)
            return

        def taken(answer: str | None) -> None:
            if answer is not None:
                go_on(answer, mended.doubts)

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
            self._ask(text, pasted)
        else:
            self._by_number(text)

    def _is_whole(self, pasted: Mapping[int, Line]) -> bool:
        """Return whether pasted lines count as a whole listing, which is not merged by number.

        They do if the editor is empty or wholly selected, or if they may mix two programs.
        """
        from hostlink.listing import Listing

        editor = self.sheets.editor
        here = Listing.from_text(editor.text).numbered()
        all_selected = sorted(editor.selection) == [(0, 0), editor.document.end]
        return not here or all_selected or would_mix(here, pasted)

    def _by_number(self, text: str) -> None:
        """Put numbered lines where their numbers belong, in place of what is selected."""
        from hostlink.listing import Listing

        editor = self.sheets.editor
        start, end = sorted(editor.selection)
        before = editor.text
        if start != end:
            before = editor.get_text_range((0, 0), start)
            before += editor.get_text_range(end, editor.document.end)
        here, selected, lines = (
            Listing.from_text(each).numbered().keys()
            for each in (editor.text, editor.selected_text, text)
        )
        replaced, removed = len(lines & here), len(selected - lines)
        placed = place_lines(before, text)
        told = f"{plural(len(lines), 'line')} took "
        told += f"{'its place' if len(lines) == 1 else 'their places'} by number"
        told += f", {replaced or 'none'} replaced, {len(lines) - replaced or 'none'} added"
        if removed:
            told += f", {plural(removed, 'selected line')} removed"
        self.sheets.take_text(placed.text, told)
        editor.selection = Selection.cursor((placed.row, 0))

    def _ask(self, text: str, pasted: Mapping[int, Line]) -> None:
        from hostlink.app.screens.dialogues import Ask
        from hostlink.listing import Listing

        def answered(answer: str | None) -> None:
            if answer == "number":
                self._by_number(text)
            elif answer == "replace":
                self.sheets.take_text(text, "The listing was replaced")
            elif answer == "new":
                self.sheets.unless_lost(lambda: self.sheets.show_sheet(Sheet(), text))
            else:
                self.app.tell("Nothing was pasted; the listing is unchanged.", of_text=True)

        title = self.sheets.sheet.name or "the listing here"
        lines = plural(len(pasted), "line")
        same = len(pasted.keys() & Listing.from_text(self.sheets.editor.text).numbered().keys())
        self.app.push_screen(
            Ask(
                f"The paste of {lines} may be a listing other than {title}.",
                [
                    ("leave", "Leave the listing as it is"),
                    ("number", "Put the lines in by their numbers"),
                    ("replace", f"Replace the text of {title}"),
                    ("new", "Open it as a new listing"),
                ],
                why=f"{same or 'None'} of them would replace a line with the same number. "
                "Ctrl+Z undoes putting them in or replacing the text.",
            ),
            answered,
        )
