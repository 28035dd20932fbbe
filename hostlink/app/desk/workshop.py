"""The workshop: shrinking, renumbering, checking and publishing the listing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.app.desk.part import DeskPart
from hostlink.app.desk.sheet_pane import NOTHING_YET
from hostlink.app.placing import place_lines
from hostlink.errors import ListingError
from hostlink.sentences import BOARD_READ

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.desk.desk import Desk
    from hostlink.jobs.session.board_contents import BoardContents
    from hostlink.listing import Listing
    from hostlink.publish.details import ProgramDetails


class Workshop(DeskPart):
    """The actions on the listing that need no board; none keeps or sends anything unasked."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._typed_codes: dict[tuple[str, str], str] = {}  # by what was checked

    def need_listing(self) -> Listing | None:
        """Return the listing in the editor; without numbered lines show an error, return None."""
        from hostlink.listing import Listing

        listing = Listing.from_text(self.sheets.editor.text)
        if listing.numbered():
            return listing
        self.app.show_error(
            ListingError(
                "There is no numbered line in the editor.",
                kept="Nothing was changed.",
                advice=NOTHING_YET,
            )
        )
        return None

    def findings(self) -> None:
        """Show the findings of a review, and go to the row of the one that is chosen."""
        from hostlink.app.screens.findings import FindingsScreen

        if (listing := self.need_listing()) is None:
            return

        def chosen(row: int | None) -> None:
            self.sheets.check()  # a rule may be silent now
            self.sheets.go_to_row(row)

        self.app.push_screen(FindingsScreen(listing, self.sheets.noted_program), chosen)

    def references(self) -> None:
        """Show the cross-reference of lines and variables, and go to the line that is chosen."""
        from hostlink.app.screens.references import ReferencesScreen
        from hostlink.listing.reviewing.crossref import cross_reference

        if (listing := self.need_listing()) is not None:
            found = cross_reference(listing, self.app.boards.profile.rules)
            self.app.push_screen(ReferencesScreen(found), self.sheets.go_to_line)

    def step(self) -> None:
        """Step through the listing on a practice board, then go to the line where it stood."""
        from hostlink.app.screens.stepping import StepScreen
        from hostlink.jobs.trying import Setting

        if self.need_listing() is None:
            return
        profile, text = self.app.boards.profile, self.sheets.editor.text
        setting = Setting(profile.name)
        screen = self.app.attempt(lambda: StepScreen(lambda: setting.begin(text, profile)))
        if screen is not None:
            self.app.push_screen(screen, self.sheets.go_to_line)

    def shrink(self) -> None:
        """Offer the levels of shrinking, and put the shrunk listing into the editor."""
        from hostlink.app.screens.rewrites import Shrinking
        from hostlink.app.screens.rewriting import RewriteScreen

        if (listing := self.need_listing()) is None:
            return
        rewrite = Shrinking(listing, self.app.boards.profile)
        if not rewrite.saves:
            why = "".join(f" {note}" for note in rewrite.most.notes)
            self.app.tell(f"This listing cannot be made smaller.{why}", of_text=True)
            return
        self.app.push_screen(
            RewriteScreen(rewrite),
            lambda text: self.sheets.take_text(text, "The listing is smaller now"),
        )

    def renumber(self) -> None:
        """Offer new line numbers, and put the renumbered listing into the editor."""
        from hostlink.app.screens.renumbering import RenumberScreen

        if (listing := self.need_listing()) is not None:
            self.app.push_screen(
                RenumberScreen(listing, self.app.boards.profile.rules),
                lambda text: self.sheets.take_text(text, "The listing has new line numbers"),
            )

    def check_codes(self) -> None:
        """Check a listing by codes; if a board is attached, ask whether its listing is meant."""
        from hostlink.app.screens.dialogues import ask

        if self.app.boards.current is None:
            self._check_editor()
            return
        board = self.app.boards.current
        held = f"What {self.desk.readings.name_of(board)} holds now"
        ask(
            self.app,
            "Which listing do you want to check by its codes?",
            ("editor", "The one in the editor", self._check_editor),
            ("board", held, lambda: self._check_board(board)),
            leave="Neither",
            why="A listing sheet shows the codes. The board is only read; nothing is changed.",
        )

    def _check_editor(self) -> None:
        if (listing := self.need_listing()) is not None:
            self._check(listing, "the listing in the editor", self._checked)

    def _checked(self, chosen: int | str | None) -> None:
        """Go to the line with the chosen number, or put the chosen correction into the listing."""
        if isinstance(chosen, str):
            placed = place_lines(self.sheets.editor.text, chosen)
            self.sheets.take_text(placed.text, f"The line is now {chosen}")
            self.sheets.go_to_row(placed.row + 1)
        else:
            self.sheets.go_to_line(chosen)

    def _check_board(self, attached: AttachedBoard) -> None:
        from hostlink.jobs.session.board_contents import read_contents
        from hostlink.listing import Listing

        job = attached.do("Reading the board", read_contents, shown=False, then="check")

        def done(looked: BoardContents) -> str:
            self.desk.readings.note_reading(attached, looked)
            name = self.desk.readings.name_of(attached)
            if looked.content is None or not looked.lines:
                return f"There is nothing to check: {name} holds no program."
            self._check(Listing.from_text(looked.content.text), f"what {name} holds")
            return BOARD_READ

        self.app.watch_job(job, done=done)

    def _check(
        self, listing: Listing, name: str, go_on: Callable[[int | str | None], None] | None = None
    ) -> None:
        from hostlink.app.screens.checking import CheckScreen

        rules = self.app.boards.profile.rules
        of = (name, self.sheets.sheet.name)
        screen = self.app.attempt(
            lambda: CheckScreen(listing, name, rules, self._typed_codes.get(of, ""))
        )
        if screen is None:
            return

        def closed(chosen: int | str | None) -> None:
            self._typed_codes[of] = screen.typed
            if go_on is not None:
                go_on(chosen)

        self.app.push_screen(screen, closed)

    def give(self) -> None:
        """Ask which programs to write, and where, and write them as files."""
        from hostlink.app.screens.many_listings import ask_to_give

        ask_to_give(self.app)

    def sheet(self) -> None:
        """Ask for the file and the details above the listing, then write its sheet."""
        from hostlink.app.screens.filling import Fill
        from hostlink.jobs.publishing import details_of, write_sheet

        if self.need_listing() is None:
            return
        profile = self.app.boards.profile
        material = self.sheets.sheet.as_material(self.sheets.editor.text, profile)
        came_from = self.sheets.sheet.material or material
        known = self.app.attempt(lambda: details_of(came_from, self.app.archive))
        if known is None:
            return

        def answered(given: dict[str, str] | None) -> None:
            if given is None:
                return
            told = {key: given[key] for key, _, shown in fields[1:] if given[key] != shown}
            details = replace(known, name=self.sheets.sheet.name, **told)
            self._write_page(
                given["file"],
                f"The sheet of {self.sheets.sheet.name or 'the listing'}",
                lambda path, replacing: write_sheet(
                    path, material, profile, details, replace=replacing
                ),
            )

        fields = _sheet_fields(self.sheets.sheet.name or "listing", known)
        self.app.push_screen(
            Fill(
                "A listing sheet: a page to print, with a check code for each line.",
                fields,
                hint="Empty fields are left out. Enter writes the sheet.",
                path="file",
            ),
            answered,
        )

    def card(self) -> None:
        """Ask for a file name, and write the profile's quick-reference card to it."""
        from hostlink.app.screens.dialogues import AskText, beginning_here
        from hostlink.jobs.publishing import write_card

        profile = self.app.boards.profile
        title = profile.title or profile.name

        def answered(name: str | None) -> None:
            self._write_page(
                name or "",
                f"The card of {title}",
                lambda path, replacing: write_card(path, profile, replace=replacing),
            )

        self.app.push_screen(
            AskText(
                f"A card of {title}: its words, limits and keys on one page. Which file?",
                f"{profile.name}-card.html",
                hint=beginning_here(),
            ),
            answered,
        )

    def _write_page(self, name: str, what: str, write: Callable[[Path, bool], None]) -> None:
        """Write a page to a file; ask before replacing one that exists."""
        from hostlink.app.screens.dialogues import Ask, write_file
        from hostlink.jobs.files import named_path

        if not name:
            return
        path = named_path(name)
        if path.name and not path.suffix:
            path = path.parent / f"{path.name}.html"

        def done(_: None) -> None:
            words = f"{what} was written to {path.absolute()}."
            self.app.tell(words)
            why = "It is a single file: open it in a browser, and print it from there."
            self.app.push_screen(Ask(words, [("good", "Close")], why=why))

        write_file(self.app, lambda replacing: write(path, replacing), done)


def _sheet_fields(name: str, known: ProgramDetails) -> list[tuple[str, str, str]]:
    """Return the fields to fill in for a sheet: key, label and initial text."""
    details = [
        (key, key, " ".join(getattr(known, key).split()))
        for key in ("title", "author", "licence", "notes")
    ]
    return [("file", "file", f"{name.lower()}.html"), *details]
