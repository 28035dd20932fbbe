"""Mending lines that a page or a mail program has wrapped, and blanks at the end of rows.

A row without a number that follows a numbered one may be its rest. Whether a blank was lost at
the break decides the meaning inside quoted text, so rows are joined only where the source tells.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from hostlink.listing.rows import Mend, Notes, Row, open_quote

_NARROWEST = 30  # no page wraps at fewer characters; a shorter row was not wrapped by its width
_LONGEST = 1000  # no line is that long; it also keeps the work on a rubbish text small


def mend_wraps(rows: list[Row], notes: Notes) -> list[Row]:
    """Join wrapped rows to the line they belong to; note the others as doubts."""
    broken = [
        place
        for place in range(1, len(rows))
        if not rows[place].blank and not rows[place].numbered and not rows[place - 1].blank
    ]
    first = next((place for place, row in enumerate(rows) if row.numbered), len(rows))
    broken = [place for place in broken if place > first]
    if not broken:
        return rows
    page = _page(rows, first, broken)
    mended: list[Row] = []
    lone = set(broken)
    joinable = False
    for place, row in enumerate(rows):
        if place not in lone:
            mended.append(row)
            joinable = row.numbered
            continue
        joint = _joint(rows[place - 1], mended[-1], row, page, notes) if joinable else None
        if joint is None or notes.kept(row.at):
            notes.doubt(
                *(row, "row-without-number"),
                "The row has no line number; it may be the rest of the line before, or text.",
            )
            mended.append(row)
            joinable = False
        else:
            mended[-1] = _join(mended[-1], joint, row, notes)
    return mended


@dataclass(frozen=True, slots=True)
class _Page:
    """How the page broke its rows, as far as they show it.

    widest: the longest row. cuts: every broken row is that long, three at least, so it was cut
    there and no blank was lost. at_blanks: some broken row is shorter, so it was broken at blanks.
    """

    widest: int
    cuts: bool
    at_blanks: bool

    def full(self, above: Row, rest: Row) -> bool:
        """Whether the first word of the rest would not have fitted in the row above it."""
        word = rest.text.split(maxsplit=1)[0]
        return len(above.text.rstrip(" ")) + 1 + len(word) > self.widest >= _NARROWEST


def _page(rows: list[Row], first: int, broken: list[int]) -> _Page:
    page = _Page(max(len(row.text) for row in rows[first : max(broken) + 1]), False, False)
    lengths = [len(rows[at - 1].text) for at in broken if page.full(rows[at - 1], rows[at])]
    shorter = any(length < page.widest for length in lengths)
    cuts = not shorter and len(lengths) == len(broken) >= 3
    return replace(page, cuts=cuts, at_blanks=shorter)


def _join(line: Row, joint: str, rest: Row, notes: Notes) -> Row:
    text = line.text + joint + (rest.text if joint == "" else rest.text.lstrip(" "))
    by = "a blank" if joint else "nothing"
    sentence = f"The row was joined to the wrapped line before it, with {by} between."
    notes.mends.append(Mend(rest.at, "wrapped-line", f"{line.text}\n{rest.text}", text, sentence))
    return replace(line, text=text, end=rest.end)


def _joint(above: Row, line: Row, rest: Row, page: _Page, notes: Notes) -> str | None:
    """What to put between a line and the rest of it: "", a blank, or None where it is not sure.

    above: the row just above the rest as it stands in the source; line: joined so far.
    """
    if notes.is_command(rest.text) or len(line.text) + len(rest.text) > _LONGEST:
        return None
    quoted = open_quote(line.text, notes.language)
    full = page.full(above, rest)
    closes = quoted and rest.text.count('"') % 2 == 1
    if not full and not closes:
        return None
    if page.cuts:
        return ""
    if above.text.endswith(" ") or rest.text.startswith(" "):
        # Mail in flowed form keeps the blank at the end; blanks in front may be an indent.
        return None if quoted and rest.text.startswith(" ") else ""
    if full and not page.at_blanks:
        # It may be cut at this width or broken at a blank. Beside a sign a blank is harmless.
        split_word = line.text[-1].isalnum() and rest.text[0].isalnum()
        return None if quoted or split_word else " "
    return " "


def mend_trailing(rows: list[Row], notes: Notes) -> list[Row]:
    """Take off blanks at the end of rows, unless quoted text is open there."""
    mended: list[Row] = []
    for row in rows:
        text = row.text.rstrip(" \t")
        if text and text != row.text and not open_quote(row.text, notes.language):
            sentence = "Blanks at the end were taken off."
            row = notes.change(row, "trailing-blank", text, sentence)
        mended.append(row)
    return mended
