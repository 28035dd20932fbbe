"""Join lines that a page or a mail program has wrapped, and remove trailing blanks.

A row without a number may be the rest of the numbered row before it. Inside quoted text it matters
whether a blank was lost at the break, so rows are joined only if the source shows that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from hostlink.listing.mending.rows import Mend, Notes, Row, open_quote

REST_OF_LINE = "the rest of the line before"
_NARROWEST = 30  # characters; pages do not wrap rows at a smaller width
_LONGEST = 1000  # characters; no line is longer, and the limit keeps work on junk small


def mend_wraps(rows: list[Row], notes: Notes) -> list[Row]:
    """Join wrapped rows to the line they belong to; note uncertain ones as doubts."""
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
                f"The row has no line number; it may be {REST_OF_LINE}, or other text.",
            )
            mended.append(row)
            joinable = False
        else:
            mended[-1] = _join(mended[-1], joint, row, notes)
    return mended


@dataclass(frozen=True, slots=True)
class _Page:
    """How the source wrapped its rows, as far as they show it.

    widest: length of the longest row. cuts: all broken rows, at least three, have that length, so
    they were cut there and no blank was lost. at_blanks: a broken row is shorter, so rows were
    broken at blanks.
    """

    widest: int
    cuts: bool
    at_blanks: bool

    def full(self, above: Row, rest: Row) -> bool:
        """Return whether the first word of `rest` would have made the row above too wide."""
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
    """Return what to put between a line and its rest: "", a blank, or None if uncertain.

    above: the row before `rest` in the source. line: the line as joined so far.
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
        # Mail in flowed format keeps the trailing blank; leading blanks may be an indent.
        return None if quoted and rest.text.startswith(" ") else ""
    if full and not page.at_blanks:
        # It may be cut at this width or broken at a blank. Next to a symbol a blank is harmless.
        split_word = line.text[-1].isalnum() and rest.text[0].isalnum()
        return None if quoted or split_word else " "
    return " "


def mend_trailing(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove trailing blanks, unless they are inside quoted text that is not closed."""
    mended: list[Row] = []
    for row in rows:
        text = row.text.rstrip(" \t")
        if text and text != row.text and not open_quote(row.text, notes.language):
            sentence = "Trailing blanks were removed."
            row = notes.change(row, "trailing-blank", text, sentence)
        mended.append(row)
    return mended
