"""Two listings as one, with signs in the margin where they differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, ClassVar, Literal

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.widgets.colouring import coloured
from hostlink.app.widgets.page import Page
from hostlink.listing import ChangedLine, Comparison, Line, Listing, Rules, compare
from hostlink.words import capital, plural, safe

if TYPE_CHECKING:
    from hostlink.listing import Language

Side = Literal["both", "first", "second"]
SIGNS: dict[Side, str] = {"both": "  ", "first": "‹ ", "second": "› "}
_STYLES = {
    "number": "$listing-number",
    "keyword": "bold $listing-keyword",
    "quoted": "$listing-quoted",
    "remark": "italic $listing-remark",
    "jump": "underline $listing-jump",
}
_MARK = "bold reverse"
_AROUND = 2  # equal lines that stay beside a difference
_LEAST_FOLDED = 3


@dataclass(frozen=True, slots=True)
class CompareRow:
    """A line of the aligned listing. side: which listing has it. marks: its changed characters."""

    side: Side
    line: Line
    marks: tuple[tuple[int, int], ...] = ()


def aligned(old: Listing, new: Listing, found: Comparison) -> list[CompareRow]:
    """Return both listings as one, by line number; lines without a number come last."""
    changed = {change.old.number: change for change in found.changed}
    rows: list[CompareRow] = []
    before, after = old.numbered(), new.numbered()
    for number in sorted(before.keys() | after.keys()):
        if number in changed:
            rows += _changed(changed[number])
        elif number not in after:
            rows.append(CompareRow("first", before[number]))
        else:
            rows.append(CompareRow("both" if number in before else "second", after[number]))
    rows += [CompareRow("first", line) for line in found.removed if line.number is None]
    rows += [CompareRow("second", line) for line in found.added if line.number is None]
    return rows


def _changed(change: ChangedLine) -> list[CompareRow]:
    """Return both lines, with their changed characters marked if most of them are the same."""
    kept = len(change.old.typed) - sum(one.old_end - one.old_start for one in change.stretches)
    if 2 * kept < max(len(change.old.typed), len(change.new.typed)):
        return [CompareRow("first", change.old), CompareRow("second", change.new)]
    return [
        CompareRow("first", change.old, tuple((x.old_start, x.old_end) for x in change.stretches)),
        CompareRow("second", change.new, tuple((x.new_start, x.new_end) for x in change.stretches)),
    ]


def folded(rows: Sequence[CompareRow]) -> list[CompareRow | int]:
    """Return the rows with each long run of equal lines replaced by the number of its lines."""
    made: list[CompareRow | int] = []
    at = 0
    for same, group in groupby(rows, key=lambda row: row.side == "both"):
        run = list(group)
        start = _AROUND if at else 0
        end = len(run) - (_AROUND if at + len(run) < len(rows) else 0)
        at += len(run)
        if same and end - start >= _LEAST_FOLDED:
            made += [*run[:start], end - start, *run[end:]]
        else:
            made += run
    return made


def drawn(row: CompareRow | int, language: Language) -> Content:
    """Return a row with its sign, coloured as a listing."""
    if isinstance(row, int):
        return Content(f"  … {plural(row, 'line')} the same …").stylize("italic $listing-remark")
    typed = row.line.typed
    # One cell a character, so that the marks stand at the changed characters.
    text = Content("".join(one if one.isprintable() else "·" for one in typed))
    for start, end, name in coloured(typed, language):
        text = text.stylize(_STYLES[name], start, end)
    for start, end in row.marks:
        text = text.stylize(_MARK, start, end)
    return Content.assemble((SIGNS[row.side], "bold $listing-finding"), text)


class CompareScreen(Page[None]):
    """Shows two listings as one, with their differences."""

    FOOT = "Space shows all lines, or folds those that are the same. Escape goes back."
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("compare.fold", "All lines", "Or only those around a difference"),
        Binding("escape", "leave", "Back", tooltip="To where you were"),
    ]

    def __init__(self, old: Listing, new: Listing, names: tuple[str, str], rules: Rules) -> None:
        super().__init__()
        self.comparison = compare(old, new, rules)
        self.names = names
        self._language = rules.language
        self._rows = aligned(old, new, self.comparison)
        self._folds = True

    def body(self) -> Iterator[Widget]:
        """Lay out the summary and the aligned listing."""
        yield Static(self._words(), classes="words", id="summary", markup=False)
        with VerticalScroll():
            yield Static("", classes="words", id="lines", markup=False)

    def head(self) -> str:
        """Return the heading: the two listings that are compared."""
        return f"{capital(self.names[0])} against {self.names[1]}"

    def _words(self) -> Content:
        found = self.comparison
        if found.equal:
            return Content(f"Nothing differs: {plural(found.same_count, 'line')} the same.")
        first, second = map(safe, self.names)
        counts = (
            (len(found.changed), "changed"),
            (len(found.removed), f"only in {first}"),
            (len(found.added), f"only in {second}"),
            (found.same_count, "the same"),
        )
        words = ", ".join(f"{plural(count, 'line')} {what}" for count, what in counts if count)
        return Content(f"{words}.\n‹ is {first}, › is {second}.")

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()
        self._show()

    def action_fold(self) -> None:
        """Show all lines, or fold those that are the same."""
        self._folds = not self._folds
        self._show()

    def _show(self) -> None:
        rows = folded(self._rows) if self._folds else self._rows
        lines = [drawn(row, self._language) for row in rows]
        self.query_one("#lines", Static).update(Content("\n").join(lines))
