"""Check a listing against codes that are typed from paper or read from a sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Input, Label, Static, TextArea

from hostlink.app.ways import in_keys
from hostlink.app.widgets.page import Page
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.app.widgets.text_field import TextField
from hostlink.app.widgets.text_line import TextLine
from hostlink.errors import HostlinkError
from hostlink.jobs.files import named_path
from hostlink.jobs.publishing import read_sheet_file
from hostlink.listing import Listing, Rules, canonical_line
from hostlink.listing.checkcodes import (
    WHOLE,
    CodeCheck,
    Codes,
    codes_of,
    mistyped_words,
    parse_codes,
    verify_codes,
)
from hostlink.listing.slips import Correction, offers
from hostlink.words import capital, plural

RIGHT, WRONG, MISSING, EXTRA, UNCHECKED = "right", "wrong", "missing", "too many", ""


class CheckScreen(Page[int | str | None]):
    """Checks a listing against codes; returns a line number to go to, a line to put in, or None.

    name: what is checked, in words. typed: the codes that were typed before, or "".
    """

    AUTO_FOCUS = "#codes"
    FOOT = (
        "Type a row for each line, its number and code, such as 10 44, and ALL 31C3 for all lines "
        "together; or name a sheet's file. Tab goes on. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, listing: Listing, name: str, rules: Rules, typed: str = "") -> None:
        super().__init__()
        self.typed = typed
        self.listing, self.called, self.rules = listing, name, rules
        self.own = codes_of(listing, rules)
        self.sheet: Codes | None = None
        self.printed: Mapping[int, str] = {}
        self.verdict: CodeCheck | None = None
        self.offered: Mapping[int, tuple[Correction, ...]] = {}

    def body(self) -> Iterator[Widget]:
        """Lay out the sheet file's name, the field for typed codes and the result for each line."""
        with Horizontal(classes="fields"):
            yield Label("sheet file")
            yield TextLine("", id="sheet-file", empty="its name, then Enter")
        with Horizontal(id="check-body"):
            with Vertical(id="check-codes"):
                yield Static("or typed codes", classes="quiet", markup=False)
                yield TextField(self.typed, id="codes", soft_wrap=False, tab_behavior="focus")
            yield Rows(
                [ListColumn("", 8), ListColumn("code"), ListColumn("line", -1)],
                id="checked",
            )
        yield Static("", id="check-line", markup=False)
        yield Static("", id="check-told", markup=False)

    def head(self) -> str:
        """Return the heading: the listing that is checked."""
        return f"{capital(self.called)} against check codes"

    def on_mount(self) -> None:
        self.query_one(TextArea).cursor_blink = False
        self._check()

    def on_text_area_changed(self, event: TextArea.Changed) -> None:
        event.stop()
        self.typed = event.text_area.text
        if self.typed.strip():
            self.sheet, self.printed = None, {}
        self._check()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        if event.value.strip():
            self.app.attempt(lambda: self._read(named_path(event.value)))

    def _read(self, path: Path) -> None:
        """Check the listing against the codes of a sheet file, in place of typed ones."""
        read = read_sheet_file(path)
        with self.prevent(TextArea.Changed):
            self.query_one(TextArea).text = ""
        self.sheet = read.codes
        held = Listing.from_text(read.text).numbered()
        self.printed = {number: line.typed for number, line in held.items()}
        self._check(read.other_profile(self.app.boards.profile.name))
        self.query_one(Rows).focus()

    def _check(self, more: str = "") -> None:
        self.verdict, self.offered = None, {}
        wanted: Mapping[int, str] = {}
        told = "Each line's code stands before it: compare them by eye, or type those you have."
        try:
            codes = self.sheet or self._typed()
        except HostlinkError as error:
            codes, told = None, f"{error.what} {in_keys(error.advice)}"
        if codes is not None:
            wanted = codes.lines
            self.verdict = verify_codes(self.listing, codes, self.rules)
            if not self.printed:
                self.offered = offers(self.listing, codes, self.verdict, self.rules)
            told = f"{self._sentence(self.verdict)} {more}".rstrip()
        self.say("#check-told", told)
        self._show(wanted)

    def _typed(self) -> Codes | None:
        """Return the codes typed so far, None before the first; the last may be unfinished."""
        rows = self.query_one(TextArea).text.split("\n")
        while rows and not rows[-1].strip():
            rows.pop()
        try:
            return parse_codes("\n".join(rows), name="The codes") if rows else None
        except HostlinkError:
            if len(rows) != self.query_one(TextArea).document.line_count:
                raise
            done = "\n".join(rows[:-1])
            return parse_codes(done, name="The codes") if done.strip() else None

    def _sentence(self, verdict: CodeCheck) -> str:
        if mistyped := mistyped_words(verdict):
            return mistyped
        words = f"{plural(verdict.right_count, 'line')} right"
        wrong = tuple(one.number for one in verdict.wrong)
        for numbers, what in ((wrong, "wrong"), (verdict.missing, "missing")):
            words += f", {len(numbers):,} {what}"
        if verdict.extra:
            is_known = self.sheet or verdict.is_surplus
            words += f", {len(verdict.extra):,} {EXTRA if is_known else 'without a code'}"
        if verdict.whole_wanted and verdict.whole_wanted != verdict.whole_found:
            words += f"; all lines together have {verdict.whole_found}, not {verdict.whole_wanted}"
        elif verdict.whole_wanted and verdict.lines_right:
            words += "; all lines together are right too"
        return f"{words}."

    def _show(self, wanted: Mapping[int, str]) -> None:
        """Show the lines with their codes, wrong lines first."""
        held = self.listing.numbered()
        bad: list[Entry] = []
        good: list[Entry] = []
        for number in sorted({*held, *(self.verdict.missing if self.verdict else ())}):
            word = self._word(number, wanted)
            text = canonical_line(held[number], self.rules) if number in held else f"{number}"
            entry = Entry(str(number), (word, self.own.lines.get(number, ""), text))
            offered = self.offered.get(number, ())
            (good if word in (RIGHT, UNCHECKED) and not offered else bad).append(entry)
            if word in (WRONG, MISSING):
                printed = self.printed.get(number, "is the code that was typed for it")
                bad.append(Entry(str(number), ("  wanted", wanted[number], printed)))
            for offer in offered:
                cells = ("perhaps", wanted[number], f"{offer.text}   ({offer.slip})")
                bad.append(Entry(offer.text, cells))
        whole = Entry(WHOLE, (UNCHECKED, self.own.whole, "all lines together"))
        self.query_one(Rows).show([*bad, *good, whole], stay=False)

    def _word(self, number: int, wanted: Mapping[int, str]) -> str:
        if self.verdict is None:
            return UNCHECKED
        if number in self.verdict.missing:
            return MISSING
        if number not in wanted:
            return EXTRA if self.sheet or self.verdict.is_surplus else UNCHECKED
        return WRONG if any(one.number == number for one in self.verdict.wrong) else RIGHT

    def on_rows_moved(self, event: Rows.Moved) -> None:
        """Show the whole line at the cursor, since its column may be too narrow."""
        event.stop()
        rows = event.rows
        line = rows.entries[rows.cursor].cells[-1] if rows.key else ""
        self.say("#check-line", line)

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.stop()
        if not event.key.isdigit():
            self.dismiss(event.key if event.key != WHOLE else None)
        elif int(event.key) in self.listing.numbered():
            self.dismiss(int(event.key))
