"""Bring a line into its canonical form, which does not depend on what a board rewrites in it.

A board may change letters to capitals and change blanks (Form.case, Form.spacing). The canonical
form removes exactly these differences, so that two listings are the same program for the board if
their canonical forms are equal. Quoted text is never altered, and remarks only if the profile says
that the board changes their letters too: any other change by the board is a change of the program.
"""

from __future__ import annotations

import re
import string
from collections.abc import Mapping
from functools import lru_cache

from hostlink.errors import ProfileError
from hostlink.listing.parse import Line, Listing, line_number
from hostlink.listing.rules import Form, Rules
from hostlink.listing.tokens import scan

PLAIN_FORM = "{number} {text}"
_CAPITALS = str.maketrans(string.ascii_lowercase, string.ascii_uppercase)


def canonical_line(line: Line, rules: Rules) -> str:
    """Return a line without the differences that the board may make, and without line end.

    A line without a number keeps its blanks unless the board ignores them.
    """
    spacing = rules.form.spacing
    body = line.body if spacing == "kept" or line.number is None else line.text
    body = _settled(body, rules)
    if line.number is None:
        return body
    if not line.text:
        return str(line.number)
    return f"{line.number}{'' if spacing == 'kept' else ' '}{body}"


def canonical_lines(lines: Mapping[int, Line], rules: Rules) -> dict[int, str]:
    """Return the canonical form of numbered lines, by number."""
    return {number: canonical_line(line, rules) for number, line in lines.items()}


def canonical(listing: Listing, rules: Rules) -> str:
    """Return the canonical form of a program: sorted numbered lines, each ended by LF.

    Of lines with the same number the last counts, and a bare number deletes.
    """
    return "".join(canonical_line(line, rules) + "\n" for line in listing.numbered().values())


def _settled(text: str, rules: Rules) -> str:
    """Fold case and blanks until nothing changes.

    Removing the blank of `R EM` creates a remark, so one pass may not suffice. Each further pass
    finds a remark nearer to the start, so the loop ends.
    """
    if rules.form.case == "kept" and not rules.form.has_free_blanks:
        return text
    while (settled := _folded(text, rules)) != text:
        text = settled
    return text


def _folded(text: str, rules: Rules) -> str:
    """Fold case and blanks once in each span of a line.

    If the board ignores blanks, one is inserted before a remark word, which would not be recognised
    directly after other letters.
    """
    upper, free = rules.form.case != "kept", rules.form.has_free_blanks
    remarks = {word.upper() for word in rules.language.remarks}
    pieces: list[str] = []
    for span in scan(text, rules.language):
        if span.kind == "remark":
            pieces.append(_remark(span.text, rules))
            continue
        if span.kind == "quoted":
            pieces.append(span.text)
            continue
        if free and span.word in remarks and pieces:
            pieces.append(" ")
        piece = span.text.translate(_CAPITALS) if upper else span.text
        pieces.append(piece.replace(" ", "") if free else piece)
    return "".join(pieces)


def _remark(text: str, rules: Rules) -> str:
    """Return the text of a remark without the differences that the board may make."""
    if rules.form.spacing == "free-before-remarks":
        text = text.lstrip(" ")
    if rules.form.case == "upper-everywhere":
        return _upper_outside_quotes(text, rules.language.quotes)
    return text


def _upper_outside_quotes(text: str, quotes: str) -> str:
    """Change letters outside quotes to capitals; an unclosed quote extends to the end."""
    folded: list[str] = []
    opened = ""
    for character in text:
        if character in quotes and opened in ("", character):
            opened = "" if opened else character
        folded.append(character if opened else character.translate(_CAPITALS))
    return "".join(folded)


def listed_line(row: str, form: Form) -> Line | None:
    """Convert one row of the board's LIST to the line as it would be typed.

    row: without its line end. Blanks before the number are dropped. In the plain form the rest
    of the row is kept exactly; in any other the line becomes number, blank, text. If the board
    stores the blank that was typed, the text follows the number as listed.
    Returns None if the row is not a listed line (a prompt, a message).
    Raises ProfileError if form.list_form lacks a field.
    """
    match = _list_pattern(form.list_form, form.signed_numbers).fullmatch(row)
    if match is None:
        return None
    number, text = match["number"], match["text"] or ""
    if number.startswith("-"):
        number = str(int(number) + 0x10000)
    if form.keeps_blank:
        own = " " if form.list_form == PLAIN_FORM else ""
        return Line.from_text(number + text.removeprefix(own))
    if form.list_form == PLAIN_FORM:
        return Line.from_text(number + text)
    typed = f"{number} {text}" if text else number
    return Line(typed, line_number(number), typed[len(number) :], 1)


def reread(lines: Mapping[int, Line], before: Form, now: Form) -> dict[int, Line]:
    """Convert lines that were read in one list form to what another makes of the same rows."""
    return {number: listed_line(_row(line, before), now) or line for number, line in lines.items()}


def _row(line: Line, form: Form) -> str:
    """Return a line as the board lists it in this form."""
    if form.list_form == PLAIN_FORM and not form.keeps_blank:
        return line.typed
    text = line.body if form.keeps_blank else line.body.removeprefix(" ")
    return form.list_form.replace("{number}", str(line.number)).replace("{text}", text)


@lru_cache(maxsize=16)
def _list_pattern(list_form: str, signed: bool) -> re.Pattern[str]:
    """Return a pattern for a listed line, with the groups number and text.

    signed: whether numbers from 32768 are listed as negative 16-bit numbers.
    """
    # No known board pads line numbers with zeros; one begins a listing with a row such as
    # "000000 bytes used".
    digits = f"{'-?' if signed else ''}(?!0[0-9])[0-9]+"
    before, number, rest = list_form.partition("{number}")
    between, text, after = rest.partition("{text}")
    if not number or not text:
        raise ProfileError(
            f'The form of a listed line, "{list_form}", must hold {{number}} and then {{text}}.'
        )
    if list_form == PLAIN_FORM:
        return re.compile(rf" *(?P<number>{digits})(?P<text>.*)", re.DOTALL)
    # A line without text may be listed without the blanks after its number.
    short = re.escape(between.rstrip(" ")) + " *"
    return re.compile(
        rf" *{re.escape(before)} *(?P<number>{digits})"
        rf"(?:{re.escape(between)}(?P<text>.*)|{short}){re.escape(after)}",
        re.DOTALL,
    )
