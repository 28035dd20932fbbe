"""Repair the damage that pasting, forums and mail do to a listing.

Each repair is reported and can be undone. What is surely damage is repaired, also inside quoted
text; what may be damage is reported as a doubt and left. Mending a mended text changes nothing:
the steps are repeated until none finds anything to do.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, replace

from hostlink.listing.mending.characters import mend_characters
from hostlink.listing.mending.lookalike import lookalikes
from hostlink.listing.mending.markup import (
    mend_around,
    mend_bullets,
    mend_entities,
    mend_fences,
    mend_gutters,
    mend_replies,
    mend_tags,
)
from hostlink.listing.mending.rows import Doubt, Mend, Notes, Row
from hostlink.listing.mending.wrap import mend_trailing, mend_wraps
from hostlink.listing.parse import Line
from hostlink.listing.rules import Rules
from hostlink.words import plural

_ROW = re.compile(r"([^\r\n]*)(\r\n|\n|\r|\Z)")
_ROUNDS = 50  # far more than any damage needs
_CLEANING = (
    mend_characters,
    mend_entities,
    mend_characters,
    mend_tags,
    mend_fences,
    mend_replies,
    mend_bullets,
    mend_gutters,
)
_JOINING = (mend_wraps, mend_around, mend_trailing)


@dataclass(frozen=True, slots=True)
class Mended:
    """A mended text, its repairs in source order, and the doubts: possible damage left as it is."""

    text: str
    mends: tuple[Mend, ...]
    doubts: tuple[Doubt, ...]


def mend(text: str, rules: Rules | None = None, *, without: Collection[Mend] = ()) -> Mended:
    """Repair a pasted listing. Never raises on any text.

    rules: the board's rules, if known: characters that the board accepts stay in quoted text.
    without: repairs from an earlier result for the same text that are not to be made.
    """
    notes = Notes(rules, {(mend.line, mend.kind) for mend in without})
    rows = _line_ends(_rows(text), notes)
    for _ in range(_ROUNDS):
        before = [row.text for row in rows]
        notes.doubts.clear()
        for step in _CLEANING:
            rows = step(rows, notes)
        if [row.text for row in rows] != before:
            continue  # join and remove rows only when all of them are clean
        for step in _JOINING:
            rows = step(rows, notes)
        rows = _tidy(_end_mark(rows, notes), notes)
        if [row.text for row in rows] == before:
            break
    for row in rows:
        for like in lookalikes(Line.from_text(row.text, row.at), notes.language):
            notes.doubt(row, "letter-in-number", like.sentence)
    mends = sorted(notes.mends, key=lambda mend: mend.line)
    doubts = sorted(dict.fromkeys(notes.doubts), key=lambda doubt: doubt.line)
    return Mended("".join(row.text + row.end for row in rows), tuple(mends), tuple(doubts))


def _rows(text: str) -> list[Row]:
    pieces = [(match[1], match[2]) for match in _ROW.finditer(text) if match[0]]
    return [Row(at, piece, end) for at, (piece, end) in enumerate(pieces, 1)]


def _end_mark(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove a final character 0x1A, which ended text files on older systems."""
    last = next((row for row in reversed(rows) if not row.blank), None)
    if last is None or not last.text.endswith("\x1a"):
        return rows
    text, sentence = last.text.rstrip("\x1a"), "An old end-of-file mark (U+001A) was removed."
    mended = notes.change(last, "end-of-file-mark", text, sentence)
    return [mended if row is last else row for row in rows]


_END_NAMES = {"\r\n": "CR LF", "\r": "CR"}


def _line_ends(rows: list[Row], notes: Notes) -> list[Row]:
    """Make every line end LF; report one repair, or none if all line ends were the same."""
    odd = [row for row in rows if row.end not in ("\n", "")]
    is_mixed = len({row.end for row in rows if row.end}) > 1
    if is_mixed and not notes.allows(odd[0].at, "line-end"):
        return rows
    if is_mixed:
        _tell_line_ends(odd, notes)
    return [replace(row, end="\n") if row.end else row for row in rows]


def _tell_line_ends(odd: list[Row], notes: Notes) -> None:
    ends = {row.end for row in odd}
    names = " and ".join(_END_NAMES[end] for end in sorted(ends, key=len, reverse=True))
    sentence = f"Line ends {names} became LF in {plural(len(odd), 'row')}."
    notes.mends.append(Mend(odd[0].at, "line-end", odd[0].text, odd[0].text, sentence))


def _tidy(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove blank rows at the start and the end, if anything was repaired at all."""
    seen = [place for place, row in enumerate(rows) if not row.blank]
    if not notes.mends or not seen:
        return rows
    return rows[seen[0] : seen[-1] + 1]
