"""The listing on the desk: the editor with costs and findings, and the origin of its text."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from textwrap import wrap
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.message import Message
from textual.timer import Timer
from textual.widgets import Static, TextArea

from hostlink.app.actions.table import way_to
from hostlink.app.board_words import finding_at, finding_words
from hostlink.app.desk.ask_for_listing import ask_for_listing
from hostlink.app.desk.reviewing import PAUSE_S, Reviewing
from hostlink.app.sentences import SHOWS_WORDS, TEXT_NOT_KEPT
from hostlink.app.sheet import Sheet, open_sheet
from hostlink.app.widgets.editor import LedgerColumn, ListingEditor
from hostlink.app.widgets.heading import Heading
from hostlink.app.widgets.ruler import MemoryRuler
from hostlink.errors import HostlinkError
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.listing import Finding, Review

NOTHING_YET = "Type a listing, paste one, or choose a program from the archive."


class SheetPane(Vertical):
    """The listing being edited: it is opened, reviewed, named, mended and kept here."""

    app: DeskApp

    class Edited(Message):
        """The text or its name changed."""

    class Kept(Message):
        """The text was kept in the archive."""

    def __init__(self, ruler: MemoryRuler, *, id: str) -> None:
        """Create the pane. ruler: shows the listing's size and the cursor line's place."""
        super().__init__(id=id)
        self.sheet = Sheet()
        self.checked: Review
        self.editor = ListingEditor(id="listing")
        self._ruler = ruler
        self._ledger = LedgerColumn(self.editor, id="ledger")
        self._review_timer: Timer | None = None
        self._reviewing = Reviewing(self, self._take)

    def compose(self) -> ComposeResult:
        with Horizontal(id="sheet-head"):
            yield Heading(id="sheet-name")
            yield Static(LedgerColumn.HEAD, id="ledger-head", markup=False)
        with Horizontal(id="text-and-ledger"):
            yield self.editor
            yield self._ledger
        yield Static("", id="finding", markup=False)

    def on_unmount(self) -> None:
        self._reviewing.close()

    def show_sheet(self, sheet: Sheet, text: str | None = None) -> None:
        """Put a listing into the editor. text: to show in place of the sheet's own text."""
        self.sheet = sheet
        self.editor.load_text(sheet.kept_text if text is None else text)
        self.check()
        self.editor.focus()

    def open_word(self, word: str) -> None:
        """Open what a word names; ask first if unkept text would be lost."""
        sheet = self.app.attempt(lambda: open_sheet(word, self.app.archive))
        if sheet is not None:
            self.unless_lost(lambda: self.show_sheet(sheet))

    def unless_lost(self, go_on: Callable[[], object]) -> None:
        """Call a function at once if no text can be lost, otherwise ask first."""
        from hostlink.app.screens.dialogues import ask

        if not self.unkept:
            go_on()
            return
        ask(
            self.app,
            f"{self.sheet.title(self.editor.text)}. {TEXT_NOT_KEPT}",
            ("keep", "Keep it first", lambda: self.keep_then(go_on)),
            ("drop", "Discard it", go_on),
            leave="Stay",
        )

    @property
    def unkept(self) -> bool:
        """Return whether the editor holds text that is not kept anywhere."""
        return self.sheet.changed(self.editor.text)

    # --- the review --------------------------------------------------------------------------

    def on_text_area_changed(self, event: TextArea.Changed) -> None:
        event.stop()
        if not self.app.begun:
            return
        self.post_message(self.Edited())
        if not self._reviewing.takes_long:
            self.check()
            return
        if self._review_timer is not None:
            self._review_timer.stop()
        self._review_timer = self.set_timer(PAUSE_S, self._reviewing.begin)

    def on_text_area_selection_changed(self, event: TextArea.SelectionChanged) -> None:
        event.stop()
        if self.app.begun:
            self.show_here()

    def check(self) -> None:
        """Review and measure the text for the current board; show the result beside the lines."""
        self.checked = self._reviewing.now()
        self._show_checked()

    def _take(self, checked: Review) -> None:
        self.checked = checked
        self._show_checked()

    def _show_checked(self) -> None:
        """Show what the review found, and what each line costs."""
        by_row: dict[int, list[Finding]] = defaultdict(list)
        for finding in self.checked.findings:
            if finding.line_at:
                by_row[finding.line_at - 1].append(finding)
        ledger = self.checked.ledger
        self.editor.show_findings(dict(by_row), self.app.boards.profile.rules)
        self._ledger.show(ledger.rows, ledger.limit, by_row)
        self.query_one(Heading).say(self.sheet.title(self.editor.text))
        self.show_here()

    @property
    def noted_program(self) -> str:
        """Return the program that the listing is a revision of, "" if there is none."""
        material = self.sheet.material
        revision = material.revision if material is not None else None
        return revision.program if revision is not None else ""

    def show_here(self) -> None:
        """Show the finding for the line at the cursor, and its place in memory."""
        row = self.editor.cursor_location[0]
        ledger = self.checked.ledger
        here = next((each for each in ledger.rows if each.line.at - 1 == row), None)
        span = (here.so_far - here.cost, here.so_far) if here is not None else (0, 0)
        self._ruler.show(ledger, span)
        static = self.query_one("#finding", Static)
        words, is_error = NOTHING_YET, False
        if self.editor.text.strip():
            finding = finding_at(self.checked, row)
            words = finding_words(self.checked, row)
            is_error = finding is not None and finding.severity == "error"
        if not self.checked.findings:
            longer, room = f"{words} {self._ledger.legend_at(row)}".rstrip(), static.content_size
            if not room.width or len(wrap(longer, room.width)) <= room.height:
                words = longer
        static.set_class(is_error, "-error")
        shown = Content(safe(words))
        if shown != static.content:
            static.update(shown, layout=False)  # its height is fixed

    # --- other texts -------------------------------------------------------------------------

    def take_text(self, text: str | None, words: str) -> None:
        """Replace the editor's text, undoable with Ctrl+Z. None leaves it unchanged."""
        if text is None:
            return
        self.editor.history.checkpoint()
        self.editor.replace(text, (0, 0), self.editor.document.end)
        self.editor.history.checkpoint()
        self.editor.move_cursor((0, 0))
        self.check()
        self.editor.focus()
        self.app.tell(f"{words}; Ctrl+Z undoes that. Nothing is kept yet.", of_text=True)

    def go_to_row(self, row: int | None) -> None:
        """Put the cursor on a row of the listing, from 1; None or 0 does not move it."""
        if row:
            self.editor.move_cursor((row - 1, 0))
            self.editor.focus()

    def go_to_line(self, number: int | None) -> None:
        """Put the cursor on the line with this number, if there is one."""
        from hostlink.listing import Listing

        if number is not None:
            line = Listing.from_text(self.editor.text).numbered().get(number)
            self.go_to_row(line.at if line is not None else None)

    def on_listing_editor_refused(self, event: ListingEditor.Refused) -> None:
        event.stop()
        from hostlink.listing.charset import character_name

        self.app.tell(
            f"The board has no {character_name(event.character)}; it was not typed. "
            "Some terminals send it for Alt and a letter; "
            f"{way_to('words')} {SHOWS_WORDS}."
        )

    def new(self) -> None:
        """Start an empty listing."""
        self.unless_lost(lambda: self.show_sheet(Sheet()))

    def ask_to_open(self) -> None:
        """Ask for a file, a program or a folder, and open it."""
        ask_for_listing(self.app, self.open_word)

    # --- keeping -----------------------------------------------------------------------------

    def keep(self) -> None:
        """Keep the text in the archive."""
        self.keep_then(lambda: None)

    def keep_then(self, go_on: Callable[[], object]) -> None:
        """Keep the text in the archive, asking for a name where it has none."""
        from hostlink.jobs.event_words import kept_words  # not before the first screen is drawn

        if not self.sheet.name:
            self.ask_name(lambda: self.keep_then(go_on))
            return
        text, made_from = self.editor.text, self.sheet.revision
        try:
            self.sheet, kept = self.sheet.keep(text, self.app.boards.profile, self.app.archive)
        except HostlinkError as error:
            self.app.show_error(error)
            return
        self.check()
        self.post_message(self.Kept())
        spec, board = kept.revision.spec, self.app.boards.current
        words = kept_words(spec, is_new=kept.is_new)
        if made_from is not None and kept.is_new and kept.revision.number > made_from.number + 1:
            words += (
                f" It was made from revision {made_from.number}: later changes are not in it "
                f"({way_to('history')} compares)."
            )
        if board is not None and not self.app.desk.states.held(board.port).holds(spec):
            words += f" Next: load it ({way_to('load')})."
        self.app.tell(words, of_text=True)
        go_on()

    def note_kept(self, spec: str) -> None:
        """Note it if the editor's text is the revision that a job kept. spec: "" for none."""
        if not spec or spec.rpartition("@")[0] != self.sheet.name:
            return
        text = self.editor.text
        kept = self.app.attempt(lambda: open_sheet(spec, self.app.archive))
        if kept is not None and not kept.changed(text):
            self.sheet = replace(kept, kept_text=text)
            self.check()
            self.post_message(self.Kept())

    def ask_for_name(self) -> None:
        """Ask for the program name of the listing."""
        self.ask_name(lambda: None)

    def ask_name(self, go_on: Callable[[], object]) -> None:
        """Ask for the program name of the listing, and go on once there is one."""
        from hostlink.app.desk.naming import ask_name

        def named(name: str) -> None:
            self.sheet = Sheet(name, self.sheet.kept_text, None)
            self.check()
            self.post_message(self.Edited())
            go_on()

        ask_name(self.app, self.sheet.name, self.noted_program, named)
