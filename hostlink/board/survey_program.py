"""Measuring what the board's listing and its free-memory answer look like; nothing is changed."""

from __future__ import annotations

import dataclasses
import re

from hostlink.board.dialogue import Dialogue
from hostlink.board.profile import Profile
from hostlink.board.reading import rows_of
from hostlink.board.survey import Findings

# Questions for the free memory. SIZE stands in Palo Alto Tiny BASIC (Dr. Dobb's Journal, May 1976),
# ROOM() is the practice board's; the others are common practice, no source.
QUESTIONS = (
    "PRINT ROOM()", "PRINT SIZE", "PRINT FREE(0)", "PRINT FREE()", "PRINT FRE(0)", "PRINT MEM",
)  # fmt: skip
_ROW = re.compile(r" *(\d+)([^A-Za-z0-9\"']*)(.*)", re.DOTALL)
_MOST_FREE = 65_535


def find_list_form(dialogue: Dialogue, findings: Findings) -> Profile:
    """Find how LIST shows a line: what stands between the number and the text."""
    rows = rows_of(dialogue.ask(dialogue.can("list", "list their program")))
    matches = [match for row in rows if (match := _ROW.fullmatch(row)) and match[3]]
    if not matches:
        findings.missing("listing.list_form", "there is no program to list")
        return dialogue.profile
    gaps = {match[2] for match in matches}
    gap = gaps.pop()
    if gaps or len(gap) > 8:
        findings.missing("listing.list_form", "the listed lines are not of one form")
        return dialogue.profile
    form = "{number}" + gap + "{text}"
    findings.add("listing.list_form", form, f"{len(matches)} listed lines are of this form")
    rules = dialogue.profile.rules
    rules = dataclasses.replace(rules, form=dataclasses.replace(rules.form, list_form=form))
    return dataclasses.replace(dialogue.profile, rules=rules)


def find_free_memory(dialogue: Dialogue, findings: Findings) -> None:
    """Find a question that the board answers, twice the same, with one whole number of bytes."""
    asked = dialogue.profile.commands.free_memory
    for question in dict.fromkeys(filter(None, (asked, *QUESTIONS))):
        answers = {tuple(rows_of(dialogue.ask(question))) for _ in range(2)}
        if len(answers) != 1:
            continue
        rows = answers.pop()
        if len(rows) != 1 or not re.fullmatch(r"\s*\d{1,5}\s*", rows[0]):
            continue
        if 0 < (free := int(rows[0])) <= _MOST_FREE:
            findings.add("commands.free_memory", question, f"it answers {free}", "likely")
            return
    findings.missing("commands.free_memory", f"none of {len(QUESTIONS)} questions was understood")
