"""Find how a board changes a line that is stored: case, blanks, quotes, the form of the listing.

Test lines are stored, and the listing is explained by the strictest possible set of changes
(dialogue/learning.py), the only ones that a read-back will allow later. Lines that the board
refuses do not show how it changes others, but are evidence of their own.
"""

from __future__ import annotations

import dataclasses

from hostlink.board.dialogue.learning import Learned, learn, unexplained_words
from hostlink.board.profile.model import Profile
from hostlink.board.survey.bench import Bench
from hostlink.board.survey.findings import LISTED_SO, Confidence, Findings
from hostlink.board.survey.store import Store
from hostlink.listing.parse import Line
from hostlink.listing.rules import Form, Rules

# Typical lines. All but the last are short enough for small boards.
LINES = (
    "10 REM water the beds, don't wait",
    "20 REM said \"Yes please\" and 'No'",
    '30 PRINT "It\'s a Dry day"',
    "40 LET B=B+12",
    "50 PRINT  A",
    "60   LET A=1",
    "70LET A=2",
    "80 REM plain small letters",
    "90 REM WIDER THAN MANY A SCREEN OF FORTY COLUMNS, AND LISTED",
)
_SMALL = ('110 print "A"', "120 LET b=a")
_TAILS = ("210 PRINT A  ", "220 REM tail  ")
_QUOTES = ('"', "\"'", "'")
_CASES = {
    "kept": "small letters stay as they are",
    "upper": "small letters become capitals outside quotes, but not in remarks",
    "upper-everywhere": "small letters become capitals in remarks, and elsewhere outside quotes",
}
_SPACINGS = {
    "kept": "blanks stay as they are",
    "after-number": "blanks change only after the line number",
    "free": "blanks change outside quotes and remarks",
    "free-before-remarks": "blanks change outside quotes and remarks, and where a remark begins",
}


def find_form(store: Store) -> None:
    """Find how the board changes lines."""
    bench = store.bench
    said: dict[int, str] = {}

    def measure() -> tuple[str, ...]:
        said.update(store.put(*LINES, *_SMALL))
        rows = store.rows()
        store.clear()
        return rows

    rows = bench.until_steady(measure) or ()
    learned, quotes = _learned(bench, rows, (*LINES, *_SMALL))
    findings, form = bench.findings, learned.form
    refused = [each for each in learned.unexplained if each.listed is None]
    other = [each for each in learned.unexplained if each.listed is not None]
    for each in refused:
        bench.note_refusal(filter(None, (said.get(each.number),)), each.sent)
    if len(refused) == len(LINES) + len(_SMALL):
        findings.missing("listing.case", "none of the test lines is listed")
        return
    count = len(LINES) + len(_SMALL) - len(refused)
    _add_findings(findings, form, quotes, count, sure="likely" if other else "measured")
    if any(each.number == 110 for each in refused):
        words = f', it answers "{said[110][:60]}"' if said.get(110) else ""
        says = f"a keyword typed in small letters is refused{words}"
        findings.add("language.capitals_only", True, says)
    if other:
        bench.notes.append(unexplained_words(other, said))
    bench.renew()
    _find_tails(store)


def _add_findings(
    findings: Findings, form: Form, quotes: str, count: int, sure: Confidence
) -> None:
    """Add how lines are rewritten to the findings. count: of test lines. sure: how certain."""
    by = f"({count} test lines, read from the listing)"
    findings.add("listing.list_form", form.list_form, f"{LISTED_SO} {by}")
    findings.add("listing.case", form.case, f"{_CASES[form.case]} {by}", sure)
    findings.add("listing.spacing", form.spacing, f"{_SPACINGS[form.spacing]} {by}", sure)
    if form.keeps_blank:
        says = f"a typed blank after a number is listed in addition to another {by}"
        findings.add("listing.keeps_blank", True, says, sure)
    if form.wrap_indent >= 0:
        says = f"a listed line is broken after {form.screen_width} characters"
        findings.add("listing.screen_width", form.screen_width, says)
        findings.add("listing.wrap_indent", form.wrap_indent, says)
    if form.case == "upper-everywhere":
        says = f"small letters stay after {' and '.join(quotes)}, in remarks too {by}"
        findings.add("language.quotes", quotes, says)


def _find_tails(store: Store) -> None:
    """Find what happens to trailing blanks; only for the report, since no listing needs them."""
    store.put(*_TAILS)
    rows = store.rows()
    store.clear()
    ends = {number: row for number in (210, 220) for row in rows if str(number) in row[:12]}
    lost = [number for number, row in ends.items() if not row.endswith("  ")]
    if lost:
        what = {210: "of a statement", 220: "of a remark"}
        says = " and ".join(what[number] for number in lost)
        store.bench.notes.append(f"Blanks at the end {says} are not kept.")


def _learned(bench: Bench, rows: tuple[str, ...], lines: tuple[str, ...]) -> tuple[Learned, str]:
    """Return the strictest changes that explain the listed rows, and the quotes they need."""
    target = {line.number or 0: line for line in map(Line.from_text, lines)}
    known = bench.profile.rules.language.quotes
    found = [
        (learn(target, rows, _strict(bench.profile, quotes)), quotes)
        for quotes in dict.fromkeys((known, *_QUOTES))
    ]
    return min(found, key=lambda each: len(each[0].unexplained))


def _strict(profile: Profile, quotes: str) -> Rules:
    """Return a profile's rules with a form that allows no change."""
    form = Form(
        first_line=0,
        last_line=profile.rules.form.last_line,
        longest_line=0,
        case="kept",
        spacing="kept",
        list_form=profile.rules.form.list_form,
        characters=profile.rules.form.characters,
    )
    language = dataclasses.replace(profile.rules.language, quotes=quotes)
    return dataclasses.replace(profile.rules, form=form, language=language)
