"""Learn from the listing of the present program, without storing anything."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence

from hostlink.board.dialogue.heard_listing import NO_LINES
from hostlink.board.dialogue.learning import find_list_form, find_wrapping
from hostlink.board.dialogue.own_rows import is_count, is_own, own_rows_around
from hostlink.board.survey.bench import Bench
from hostlink.board.survey.findings import AROUND_LISTING
from hostlink.listing.canonical import listed_line
from hostlink.listing.rules import Language
from hostlink.listing.tokens import scan

_SMALL = re.compile(r"[a-z]")
_QUOTED = re.compile(r"(\"[^\"]*(?:\"|\Z)|'[^']*(?:'|\Z))")


def find_listed(bench: Bench) -> None:
    """Find the form of a listed line, and what else the present listing shows."""
    rows = bench.until_steady(lambda: bench.dialogue.read_listing().rows)
    findings, form = bench.findings, bench.profile.rules.form
    shape = find_list_form(rows or ())
    if not rows or not shape:
        findings.missing("listing.list_form", "there is no program to list")
        return
    says = f"{len(rows)} listed rows are of this form"
    findings.add("listing.list_form", shape, says)
    if any(re.match(r" *-[0-9]", row) for row in rows):
        findings.add("listing.signed_numbers", True, "a line is listed with a negative number")
    width, indent = find_wrapping(rows)
    if width:
        says = f"listed lines are broken after {width} characters"
        findings.add("listing.screen_width", width, says, "likely")
        findings.add("listing.wrap_indent", indent, says, "likely")
    form = dataclasses.replace(form, list_form=shape)
    _find_own_rows(bench, rows, [row for row in rows if listed_line(row, form) is not None])
    own = bench.profile.commands.answer_rows
    rows = tuple(row for row in rows if not is_own(row, own))
    lines = [line.text for row in rows if (line := listed_line(row, form)) is not None]
    _find_case(bench, lines)


def _find_own_rows(bench: Bench, rows: Sequence[str], lines: Sequence[str]) -> None:
    """Find the board's own rows around a listing: they also come without lines."""
    known = bench.profile.commands.answer_rows
    language = bench.profile.rules.language
    ends = (*rows[:1], *rows[-1:])
    odd = [row for row in rows if row not in lines and not is_own(row, known)]
    if not odd and not any(is_count(row, language) for row in ends):
        return
    refusals = bench.profile.commands.error_words
    asked = bench.ask(bench.profile.commands.list + NO_LINES) or ()
    nothing = [row for row in asked if not (refusals and row.startswith(refusals))]
    if own := own_rows_around(rows, nothing, lines, language):
        says = AROUND_LISTING
        bench.findings.add("commands.answer_rows", tuple(dict.fromkeys((*known, *own))), says)


def _find_case(bench: Bench, lines: list[str]) -> None:
    """Conclude from small letters in a listing, if there are any, where the board keeps them."""
    findings, language = bench.findings, bench.profile.rules.language
    if any(_has_small(text, language, "word") for text in lines):
        findings.add("listing.case", "kept", "statements are listed in small letters")
    elif any(_has_small(text, language, "remark") for text in lines):
        if bench.profile.rules.form.case == "upper-everywhere":
            findings.add("listing.case", "upper", "remarks are listed with small letters", "likely")
    else:
        findings.missing("listing.case", "no small letters are listed; test lines show it")


def _has_small(text: str, language: Language, kind: str) -> bool:
    """Return whether keywords or the remark of a line have small letters outside quotes."""
    return any(
        _SMALL.search(_QUOTED.sub("", span.text)) is not None
        for span in scan(text, language)
        if span.kind == kind
    )
