"""Every finding of the review in one list; a rule can be silenced for this program."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.sentences import GOES_TO_LINE, NOTHING_WRONG
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.listing import Finding, Listing, review
from hostlink.listing.finding import RULES, silenced_in, with_silence, without_silence
from hostlink.words import plural


class FindingsScreen(Page[int | None]):
    """Show the findings; return the row of the listing to go to, from 1, or None to stay.

    program: the program in the archive whose note silences rules, "" if it is in no archive.
    """

    AUTO_FOCUS = "#findings"
    FOOT = (
        f"{GOES_TO_LINE} Space silences the rule for this program, or reports it again. "
        "Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "go", "Go to the line", tooltip="In the editor"),
        screen_key("findings.silence", "Silence the rule, or report it", "For this program alone"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, listing: Listing, program: str) -> None:
        super().__init__()
        self.listing, self.program = listing, program
        self.found: tuple[Finding, ...] = ()
        self.silenced: frozenset[str] = frozenset()

    def body(self) -> Iterator[Widget]:
        """Lay out the list of findings, with the details of the chosen one."""
        rows = Rows(
            [
                ListColumn("", 8),
                ListColumn("line", right=True),
                ListColumn("rule"),
                ListColumn("found", -1),
            ],
            empty=NOTHING_WRONG,
            id="findings",
        )
        yield from with_detail(rows, id="finding-detail")

    def on_mount(self) -> None:
        self._renew()

    def _note(self) -> str:
        return self.app.archive.program(self.program).note if self.program else ""

    def _renew(self) -> None:
        """Review the listing again; list the findings of silenced rules last."""
        self.silenced = silenced_in(self._note())
        every = review(self.listing, self.app.boards.profile.rules, deep=True).findings
        self.found = every
        heard = [one for one in every if one.rule not in self.silenced]
        errors = sum(one.severity == "error" for one in heard)
        warnings = sum(one.severity == "warning" for one in heard)
        head = f"Review: {plural(errors, 'error')}, {plural(warnings, 'warning')}"
        if advised := len(heard) - errors - warnings:
            head += f", advice on {plural(advised, 'point')}"
        if len(heard) < len(every):
            head += f", {len(every) - len(heard):,} silenced"
        self.set_head(head)
        order = sorted(range(len(every)), key=lambda at: every[at].rule in self.silenced)
        self.query_one(Rows).show([self._entry(at, every[at]) for at in order])
        self.detail()

    def _entry(self, at: int, one: Finding) -> Entry:
        kind = "silenced" if one.rule in self.silenced else one.severity
        number = "" if one.number is None else str(one.number)
        return Entry(str(at), (kind, number, one.rule.replace("-", " "), one.message))

    @property
    def chosen(self) -> Finding | None:
        """Return the finding at the cursor."""
        key = self.query_one(Rows).key
        return self.found[int(key)] if key else None

    def detail(self) -> None:
        """Show the finding at the cursor in full."""
        one = self.chosen
        words = ""
        if one is not None:
            column = f", column {one.column}" if one.column else ""
            where = f"Row {one.line_at:,}{column}" if one.line_at else "The listing as a whole"
            where = where if one.number is None else f"Line {one.number}{column}"
            where = "" if one.names_its_place else f"{where}: "
            words = f"{where}{one.message} {one.advice}\n\nRule {one.rule}: {RULES[one.rule]}."
            typed = next((row.typed for row in self.listing if row.at == one.line_at), "")
            words += f"\n\n{typed}" if typed else ""
        self.say("#finding-detail", words)

    def action_go(self) -> None:
        if self.chosen is not None:
            self.dismiss(self.chosen.line_at)

    def action_silence(self) -> None:
        """Silence the finding's rule in the program's note, or have it reported again."""
        one = self.chosen
        if one is None:
            return
        if not self.program:
            self.app.notify(
                f"Keep the listing first (Escape, then {way_to('keep')}): the program's note "
                "records which rules are silenced.",
                markup=False,
            )
            return
        quiet = one.rule in self.silenced
        change = without_silence if quiet else with_silence
        done = self.app.attempt(lambda: self._write(change(self._note(), one.rule)))
        if done:
            words = f"{one.rule} is {'reported again' if quiet else 'silenced'} for {self.program}"
            self.app.tell(f"{words}; its note records that.")
            self._renew()

    def _write(self, note: str) -> bool:
        self.app.archive.note(self.program, note)
        return True
