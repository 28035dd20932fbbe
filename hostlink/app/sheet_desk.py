"""The desk's listing and archive: opening, reviewing, keeping, finding."""

from __future__ import annotations

import contextlib
from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from textual.content import Content
from textual.screen import Screen
from textual.timer import Timer
from textual.widgets import Input, Static, TextArea

from hostlink.app.console import ConsolePane
from hostlink.app.editor import Ledger, ListingEditor
from hostlink.app.ruler import MemoryRuler
from hostlink.app.sheet import Sheet, open_sheet
from hostlink.app.shelf import Shelf
from hostlink.errors import HostlinkError
from hostlink.listing.finding import SEVERITIES
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.listing import Finding, Review

_LARGE = 20_000  # characters; larger texts are reviewed only after a pause in typing
_PAUSE_S = 0.3
HELP = "F1 help"
HINT = f"Ctrl+P every action    {HELP}"


class SheetDesk(Screen[None]):
    """The half of the desk that needs no board."""

    app: DeskApp

    def __init__(self) -> None:
        super().__init__()
        self.sheet = Sheet()
        self.checked: Review
        self.begun = False  # the archive and the profile come after the first drawing
        self._review_timer: Timer | None = None

    # --- the listing -------------------------------------------------------------------------

    @property
    def editor(self) -> ListingEditor:
        return self.query_one(ListingEditor)

    @property
    def shelf(self) -> Shelf:
        return self.query_one(Shelf)

    def show_sheet(self, sheet: Sheet, text: str | None = None) -> None:
        """Put a listing into the editor. text: another than the sheet's own."""
        self.sheet = sheet
        self.editor.load_text(sheet.kept_text if text is None else text)
        self.check()
        self.editor.focus()

    def open_word(self, word: str) -> None:
        """Open what a word names, asked first where unkept text would be lost."""
        sheet = self.app.careful(lambda: open_sheet(word, self.app.archive))
        if sheet is not None:
            self.unless_lost(lambda: self.show_sheet(sheet))

    def unless_lost(self, go_on: Any) -> None:
        """Go on at once where nothing can be lost, else ask."""
        from hostlink.app.dialogues import Ask

        if not self.unkept:
            go_on()
            return

        def answered(answer: str | None) -> None:
            if answer == "keep":
                self.keep_then(go_on)
            elif answer == "drop":
                go_on()

        self.app.push_screen(
            Ask(
                f"{self.sheet.title(self.editor.text)}: the text in the editor is not kept.",
                [("stay", "Stay"), ("keep", "Keep it first"), ("drop", "Let it go")],
            ),
            answered,
        )

    @property
    def unkept(self) -> bool:
        """Whether the editor holds text that is nowhere else."""
        return self.sheet.changed(self.editor.text)

    def would_be_lost(self) -> Sequence[str]:
        """Reasons to ask before leaving."""
        reasons = []
        if self.unkept:
            reasons.append("The text in the editor is not kept.")
        busy = [each.busy for each in self.app.attached.values() if each.busy]
        if any(job is not None and job.shown for job in busy):
            reasons.append(f"{plural(len(busy), 'job')} under way will be stopped.")
        return reasons

    def on_text_area_changed(self, event: TextArea.Changed) -> None:
        event.stop()
        if not self.begun:
            return
        if len(event.text_area.text) <= _LARGE:
            self.check()
            return
        if self._review_timer is not None:
            self._review_timer.stop()
        self._review_timer = self.set_timer(_PAUSE_S, self.check)

    def on_text_area_selection_changed(self, event: TextArea.SelectionChanged) -> None:
        event.stop()
        if self.begun:
            self.show_here()

    def check(self) -> None:
        """Review and measure the text for the current board, and show it beside the lines."""
        from hostlink.listing import Listing, review

        profile = self.app.profile
        text = self.editor.text
        self.checked = review(
            Listing.from_text(text), profile.rules, deep=True, silenced=self._silenced()
        )
        by_row: dict[int, list[Finding]] = defaultdict(list)
        for finding in self.checked.findings:
            if finding.line_at:
                by_row[finding.line_at - 1].append(finding)
        ledger = self.checked.ledger
        self.editor.show_findings(dict(by_row), profile.rules.language)
        self.query_one(Ledger).show(ledger.rows, ledger.limit, by_row)
        self.query_one("#sheet-name", Static).update(Content(safe(self.sheet.title(text))))
        self.show_here()

    @property
    def noted_program(self) -> str:
        """The program in the archive that the listing is a revision of, "" where it is of none."""
        material = self.sheet.material
        revision = material.revision if material is not None else None
        return revision.program if revision is not None else ""

    def _silenced(self) -> frozenset[str]:
        """The review rules that the program's note silences."""
        from hostlink.listing.finding import silenced_in

        name = self.noted_program
        try:
            return silenced_in(self.app.archive.program(name).note) if name else frozenset()
        except HostlinkError:  # the archive cannot be read just now: nothing is silent then
            return frozenset()

    def show_here(self) -> None:
        """What is said of the line at the cursor, and its place in memory."""
        row = self.editor.cursor_location[0]
        ledger = self.checked.ledger
        here = next((each for each in ledger.rows if each.line.at - 1 == row), None)
        span = (here.so_far - here.cost, here.so_far) if here is not None else (0, 0)
        self.query_one(MemoryRuler).show(ledger, span)
        static = self.query_one("#finding", Static)
        words = self._finding_words(row)
        static.set_class(bool(words) and bool(self.checked.errors), "-error")
        static.update(Content(safe(words or self._all_well())))

    def _finding_words(self, row: int) -> str:
        found = self.checked.findings
        at_line = [one for one in found if one.line_at - 1 == row]
        chosen = at_line or [one for one in found if not one.line_at] or list(found)
        if not chosen or not self.editor.text.strip():
            return ""
        first = min(chosen, key=lambda one: SEVERITIES.index(one.severity))
        where = "" if at_line or first.number is None else f"Line {first.number}: "
        more = len(found) - 1
        others = f" (Alt+V: {more:,} more)" if more else ""
        advice = "Alt+D makes it smaller." if first.rule == "does-not-fit" else first.advice
        return f"{where}{first.message} {advice}{others}"

    def _all_well(self) -> str:
        if not self.editor.text.strip():
            return "Type a listing, paste one, or choose a program of the archive."
        return "The review found nothing wrong."

    def on_listing_editor_pasted(self, event: ListingEditor.Pasted) -> None:
        event.stop()
        text = event.text
        if self.editor.text.strip():
            self.unless_lost(lambda: self.mend_text(text, Sheet()))
        else:
            self.mend_text(text, self.sheet)

    def action_mend(self) -> None:
        self.mend_text(self.editor.text, self.sheet)

    def mend_text(self, text: str, sheet: Sheet) -> None:
        """Show what mending does to a text; what is taken of it comes into the editor."""
        from hostlink.app.mending import MendScreen
        from hostlink.listing import mend

        rules = self.app.profile.rules
        if not mend(text, rules).mends:
            self.show_sheet(sheet, text)
            self.app.tell("There is nothing to mend in this listing.")
            return

        def taken(mended: str | None) -> None:
            if mended is not None:
                self.show_sheet(sheet, mended)
                self.app.tell("The mended listing lies in the editor; nothing was sent.")

        self.app.push_screen(MendScreen(text, rules), taken)

    # --- archive -----------------------------------------------------------------------------

    def on_shelf_opened(self, event: Shelf.Opened) -> None:
        event.stop()
        self.open_word(event.word)

    def on_shelf_failed(self, event: Shelf.Failed) -> None:
        event.stop()
        self.app.trouble(event.error)

    def action_find(self) -> None:
        self.show_band("shelf")
        self.query_one("#find", Input).focus()

    def action_console(self) -> None:
        """To the console; from there back to the archive."""
        if self.query_one(ConsolePane).has_focus_within:
            self.action_find()
            return
        self.show_band("console")
        self.query_one("#console-line", Input).focus()

    def show_band(self, name: str) -> None:
        """Which of the two the band shows where it has room for one only."""
        for each in ("shelf", "console"):
            self.query_one(f"#{each}").set_class(each != name, "-away")

    def action_to_listing(self) -> None:
        find = self.query_one("#find", Input)
        if find.value and self.shelf.has_focus_within:
            self.shelf.clear_search()
            find.focus()
            return
        self.editor.focus()

    def action_new(self) -> None:
        self.unless_lost(lambda: self.show_sheet(Sheet()))

    def action_open(self) -> None:
        from hostlink.app.dialogues import AskText

        def answered(name: str | None) -> None:
            from hostlink.app.collecting import is_many, take_in
            from hostlink.jobs.files import named_path

            word = (name or "").strip("'\"")
            many = named_path(word)
            if word and is_many(many):
                take_in(self.app, many)
            elif word:
                self.open_word(word)

        self.app.push_screen(
            AskText(
                "Which listing file?",
                hint="A file, a listing sheet, a program, a revision such as TIDE@2; or a folder "
                "or zip file of listings, to keep them all.",
            ),
            answered,
        )

    def action_keep(self) -> None:
        self.keep_then(lambda: None)

    def keep_then(self, go_on: Any) -> None:
        """Keep the text in the archive, asking for a name where it has none."""
        if not self.sheet.name:
            self.ask_name(lambda: self.keep_then(go_on))
            return
        text = self.editor.text
        try:
            self.sheet, kept = self.sheet.keep(text, self.app.profile, self.app.archive)
        except HostlinkError as error:
            self.app.trouble(error)
            return
        self.after_keeping()
        spec = kept.revision.spec
        self.app.tell(f"Kept as {spec}." if kept.is_new else f"Nothing new: it is {spec} already.")
        go_on()

    def after_keeping(self) -> None:
        self.shelf.renew()
        self.check()

    def action_name(self) -> None:
        self.ask_name(lambda: None)

    def ask_name(self, go_on: Any) -> None:
        from hostlink.app.dialogues import AskText
        from hostlink.jobs.material import program_name

        def answered(name: str | None) -> None:
            if not name:
                return
            self.sheet = Sheet(program_name(name) or name, self.sheet.kept_text, None)
            self.check()
            go_on()

        self.app.push_screen(
            AskText(
                "What is the program called?",
                self.sheet.name,
                hint="Letters, digits, - and _.",
            ),
            answered,
        )

    # --- what the app says -------------------------------------------------------------------

    def show_told(self, sentence: str) -> None:
        with contextlib.suppress(Exception):
            text, room = safe(sentence), self.size.width - 2 - len(HELP)
            if text and len(text) < room - 2:
                text = f"{text:<{room}}{HELP}"
            self.query_one("#told", Static).update(Content(text or HINT))
