"""Find letters that were typed for digits: 2O for 20, GOTO 1O, LET A=l0.

A board reads only the leading digits as the number, so that a line is stored under a wrong number
or fails when it runs.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from hostlink.listing.finding import Finding
from hostlink.listing.parse import Line
from hostlink.listing.rules import Language
from hostlink.listing.tokens import scan

RULE = "letter-in-number"
_DIGITS = str.maketrans("OoIl", "0011")
_LETTERS = re.compile("[OoIl]")
_BEGINS_LINE = re.compile(r"[0-9OoIl]+(?= |$)")
_GOES_ON = re.compile(r"[OoIl][0-9OoIl]*(?![A-Za-z0-9])")
_MAY_BE = re.compile("[0-9][OoIl]")
_MOST_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Lookalike:
    """A number that contains letters. start, end: its position in `line` as typed, from 0."""

    line: Line
    start: int
    end: int

    @property
    def sentence(self) -> str:
        """Return a sentence that describes the fault."""
        return lookalike_words(self.line.typed[self.start : self.end])

    @property
    def finding(self) -> Finding:
        """Return the fault as a finding of a review."""
        return Finding(
            *(self.line.at, self.line.number, self.start + 1, RULE),
            message=self.sentence,
            advice="Replace the letter with the digit.",
            severity="error",
        )

    def covers(self, finding: Finding) -> bool:
        """Return whether another finding is only a consequence of this one."""
        if finding.line_at != self.line.at or finding.rule == RULE:
            return False
        if finding.rule == "descending-line-number":
            return self.start < len(self.line.typed) - len(self.line.body)
        follow = ("missing-jump-target", "unknown-word", "variable-never-set")
        return self.start < finding.column <= self.end and finding.rule in follow


def lookalike_words(typed: str) -> str:
    """Return the sentence that describes a number with letters in it."""
    shown, letter = typed[:_MOST_SHOWN], _LETTERS.search(typed)
    which = letter[0] if letter else ""
    return f"{shown} looks like {shown.translate(_DIGITS)} with the letter {which} in it."


def like_number(text: str) -> str:
    """Return the start of a row if it may be a line number that contains letters, else ""."""
    found = _BEGINS_LINE.match(text)
    return found[0] if found and _LETTERS.search(found[0]) else ""


def lookalikes(line: Line, language: Language) -> Iterator[Lookalike]:
    """Yield the numbers of a numbered line that seem to contain letters.

    Quoted text, remarks and DATA are ignored, since letters may be intended there.
    """
    if line.number is None or not _MAY_BE.search(line.typed):
        return
    begins = len(line.typed) - len(line.body)
    if like := like_number(line.body):
        digits = len(line.typed[:begins]) - len(line.typed[:begins].rstrip("0123456789"))
        yield Lookalike(line, begins - digits, begins + len(like))
        return
    before = len(line.typed) - len(line.text)
    for span in scan(line.text, language):
        if span.word == "DATA" or line.text[span.start : span.start + 4].upper() == "DATA":
            return
        found = span.kind == "number" and _GOES_ON.match(line.text, span.end)
        if found:
            yield Lookalike(line, before + span.start, before + found.end())
