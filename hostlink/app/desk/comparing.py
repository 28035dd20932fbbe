"""Comparing a listing with what the current board holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hostlink.app.board_words import revision_words
from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import WHAT_CAN_BE_NAMED
from hostlink.sentences import BOARD_READ

if TYPE_CHECKING:
    from hostlink.jobs.session.board_contents import BoardContents


class Comparing(DeskPart):
    """Reads the board and shows the differences."""

    def compare(self, spec: str) -> None:
        """Compare a revision, or with "" the text in the editor, with what the board holds now."""
        from hostlink.app.screens.compare import CompareScreen
        from hostlink.jobs.listing_source import from_archive
        from hostlink.jobs.session.board_contents import read_contents
        from hostlink.listing import Listing

        attached = self.desk.readings.need()
        if attached is None:
            return
        text, name = self.sheets.editor.text, "the editor"
        if spec:
            held = self.app.attempt(lambda: from_archive(spec, self.app.archive))
            if held is None:
                return
            text, name = held.text, revision_words(spec)
        job = attached.do("Reading the board", read_contents, shown=False, then="compare")

        def done(looked: BoardContents) -> str:
            self.desk.readings.note_reading(attached, looked)
            board = looked.content.text if looked.content is not None else ""
            self.app.push_screen(
                CompareScreen(
                    Listing.from_text(text),
                    Listing.from_text(board),
                    (name, self.desk.readings.name_of(attached)),
                    self.app.boards.profile.rules,
                )
            )
            return BOARD_READ

        self.app.watch_job(job, done=done)

    def compare_two(self) -> None:
        """Ask for two listings, and compare them."""
        from hostlink.app.screens.filling import Fill
        from hostlink.app.screens.offers import offer_listings

        first = self.sheets.noted_program or self.sheets.sheet.name
        offer = self.app.attempt(lambda: offer_listings(self.app.archive))
        if offer is None:
            return
        self.app.push_screen(
            Fill(
                "Compare two listings, line by line.",
                [("a", "this", first), ("b", "with", "")],
                hint=f"{WHAT_CAN_BE_NAMED} or a rescue such as rescue@1. Enter compares them.",
                path="b",
                offers={"a": offer, "b": offer},
            ),
            self._compare_two,
        )

    def _compare_two(self, given: dict[str, str] | None) -> None:
        from hostlink.app.screens.compare import CompareScreen
        from hostlink.jobs.listing_source import find_material

        if given is None or not (given["a"] and given["b"]):
            return
        found = self.app.attempt(
            lambda: [find_material(given[key], self.app.archive) for key in ("a", "b")]
        )
        if found is None:
            return
        old, new = found
        names = (revision_words(old.label), revision_words(new.label))
        rules = self.app.boards.profile.rules
        self.app.push_screen(CompareScreen(old.listing, new.listing, names, rules))
