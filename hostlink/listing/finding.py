"""Describe the findings of a review, name its rules, and silence rules by a program's note."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from hostlink.errors import UsageError
from hostlink.listing.parse import Line
from hostlink.words import nearest

Severity = Literal["error", "warning", "advice"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "advice")
"""The severities, most severe first."""

RULES: dict[str, str] = {
    "empty-listing": "the listing holds no line that a board would store",
    "does-not-fit": "it takes more bytes than the board has",
    "no-line-number": "a row without a number",
    "descending-line-number": "a line below one with a higher number",
    "repeated-line-number": "a line number that is used twice",
    "bare-line-number": "a number alone, which deletes that line",
    "line-number-out-of-range": "a line number that the board does not accept",
    "letter-in-number": "a letter in place of a digit of a number",
    "line-too-long": "more characters than the board takes in a line",
    "character-not-on-board": "a character that the board cannot take",
    "keyword-in-small-letters": "a keyword in small letters on a board that knows capitals only",
    "missing-jump-target": "a jump to a line that does not exist",
    "jump-without-line-number": "a jump word that no number follows",
    "computed-jump": "a jump computed when the program runs, which cannot be checked",
    "jump-into-remark": "a jump to a line that is only a remark",
    "unreachable-line": "lines that nothing leads to",
    "subroutine-without-return": "a GOSUB from whose target no RETURN can be reached",
    "return-without-gosub": "a RETURN that can be reached without a GOSUB",
    "for-without-next": "a FOR whose variable no NEXT names",
    "next-without-for": "a NEXT whose variable no FOR names",
    "crossed-loops": "two FOR loops that overlap, neither inside the other",
    "open-quote": "quoted text that is not closed",
    "unbalanced-bracket": "a bracket without its counterpart",
    "number-out-of-range": "a number beyond the board's range",
    "number-with-fraction": "a fraction or exponent on a board that knows whole numbers only",
    "variable-never-set": "a variable that is never given a value",
    "unknown-word": "a statement or function that the profile does not know",
    "pin-not-on-board": "a pin that the board does not have, or cannot use in that way",
    "pin-value-missing": "too few values after a word for a pin, a pulse, a tone or a wait",
    "pin-value-out-of-range": "a value that a pin, a pulse, a tone or a wait does not take",
    "wraps-on-screen": "text wider than the board's screen",
}
"""What each rule finds, in one line."""

STRANGE_WORD = "Look it up for this board, or adapt the listing."
"""The advice for a word that resembles no known one, such as a statement of another BASIC."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding of a review.

    line_at: the row in the source from 1, 0 for the listing as a whole. number: the line number or
    None. column: the character in the line as typed from 1, 0 for the whole line.
    rule: name of the rule. message: what is wrong, with units. advice: what to do.
    """

    line_at: int
    number: int | None
    column: int
    rule: str
    message: str
    advice: str
    severity: Severity

    @property
    def names_its_place(self) -> bool:
        """Return whether the message itself begins with the line or row that it is about."""
        return self.message.startswith(("Line ", "Lines ", "Row "))


def at_place(
    line: Line, start: int, rule: str, message: str, advice: str, severity: Severity = "warning"
) -> Finding:
    """Return a finding at an index of the text of a line. start: from 0."""
    column = len(line.typed) - len(line.text) + start + 1
    return Finding(line.at, line.number, column, rule, message, advice, severity)


def check_rules(names: Collection[str]) -> frozenset[str]:
    """Return names of rules as a set. Raises UsageError naming an unknown rule."""
    for name in names:
        if name not in RULES:
            near = nearest(name, RULES)
            raise UsageError(
                f'There is no review rule "{name}".',
                advice=f"Did you mean {' or '.join(near)}?"
                if near
                else lambda by: f"List them {by.review_rules}.",
            )
    return frozenset(names)


def silenced_in(note: str) -> frozenset[str]:
    """Return the rules that a program's note silences by lines such as `silence: computed-jump`.

    Words that name no rule are ignored, since a note is written for people.
    """
    words = [word for row in note.splitlines() if _silences(row) for word in _named(row)]
    return frozenset(word for word in words if word in RULES)


def with_silence(note: str, rule: str) -> str:
    """Return a note that also silences a rule."""
    return note if rule in silenced_in(note) else f"{note.rstrip()}\nsilence: {rule}".lstrip()


def without_silence(note: str, rule: str = "") -> str:
    """Return a note without the silencing of a rule ("" for all rules); other text stays."""
    rows: list[str] = []
    for row in note.splitlines():
        if not _silences(row):
            rows.append(row)
        elif left := [word for word in _named(row) if rule and word != rule]:
            rows.append(f"silence: {' '.join(left)}")
    return "\n".join(rows)


def _silences(row: str) -> bool:
    return row.strip().lower().startswith("silence:")


def _named(row: str) -> list[str]:
    return [word.strip(" ,.;") for word in row.split(":", 1)[1].split()]
