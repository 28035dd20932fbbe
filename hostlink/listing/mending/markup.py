"""Remove what web pages, forums and mail add to a listing: markup, marks and row numbers.

Each step takes rows and returns rows. A step changes only what cannot be BASIC or what the other
rows show to be foreign; otherwise it notes a doubt and leaves the row unchanged.
"""

from __future__ import annotations

import html
import re
from dataclasses import replace
from itertools import pairwise

from hostlink.listing.mending.rows import NUMBERED, Notes, Row, quoted_mask
from hostlink.listing.mending.wrap import REST_OF_LINE
from hostlink.listing.rules import Language

_ENTITY = re.compile(
    r"&(?:amp;|#38;|#[xX]26;)*(lt|gt|quot|amp|nbsp|apos|ldquo|rdquo|lsquo|rsquo|ndash|mdash|hellip"
    r"|minus|times|divide|#[0-9]{1,6}|#[xX][0-9a-fA-F]{1,5});"
)
_TAG_TEXT = r"</?(?:br|p|pre|code|div|span|tt|font|li|ul|ol|blockquote)(?:\s[^<>]*)?/?>"
_TAG = re.compile(_TAG_TEXT, re.IGNORECASE)
_TAGS_FIRST = re.compile(rf"\s*(?:{_TAG_TEXT}\s*)+", re.IGNORECASE)
_BREAK = re.compile(r"<br\s*/?>\s*(?=[0-9])", re.IGNORECASE)
_FENCE = re.compile(r"\s*(?:```|~~~)[\w+-]*\s*")
_CODE_FIRST = re.compile(r"\s*(?:\[/?(?:code|quote|pre)(?:=[^\]]*)?\]\s*)+", re.IGNORECASE)
_CODE_CLOSED = re.compile(r"\[/(?:code|quote|pre)\]", re.IGNORECASE)
_REPLY = re.compile(r"[ \t]*(?:>[ \t]?)+")
_BULLETS = re.compile(
    r"[ \t]*(?:[-*+\u2022\u00b7\u2023\u25aa\u25e6][ \t]+)+(?=[0-9]+[ \t]*[A-Za-z?])"
)
_GUTTER = re.compile(r"[ \t]*([0-9]{1,6})[ \t]*[.:)|](?:[ \t]+|$)")
_BARE_GUTTER = re.compile(r"[ \t]*([0-9]{1,6})[ \t]+(?=[0-9]+[ \t]*[A-Za-z?])")
_STATEMENT = re.compile(r"([0-9]{1,9})[ \t]*[A-Za-z?]")


def mend_entities(rows: list[Row], notes: Notes) -> list[Row]:
    """Decode HTML escapes such as &lt; if one is outside quoted text, where BASIC has none.

    If all are in quoted text or remarks, they may be intended, so they become doubts.
    """
    with_entity = {row.at for row in rows if "&" in row.text and _ENTITY.search(row.text)}
    if not with_entity:
        return rows
    witness = False
    for row in rows:
        if row.at in with_entity and not witness:
            mask = quoted_mask(row.text, notes.language)
            witness = any(not mask[match.start()] for match in _ENTITY.finditer(row.text))
    mended: list[Row] = []
    for row in rows:
        if row.at in with_entity and witness:
            text = _decoded(row.text, notes)
            row = notes.change(row, "html-entity", text, "Escapes of a web page became characters.")
        if row.at in with_entity and _ENTITY.search(row.text):
            notes.doubt(row, "html-entity", "This may be an escape of a web page, or intended.")
        mended.append(row)
    return mended


def _decoded(text: str, notes: Notes) -> str:
    mask = quoted_mask(text, notes.language)

    def character(match: re.Match[str]) -> str:
        plain = html.unescape(f"&{match[1]};")
        usable = len(plain) == 1 and (plain.isprintable() or plain in "\u00a0\u00ad")
        opens = plain == '"' and mask[match.start()]
        return plain if usable and plain != "\ufffd" and not opens else match[0]

    return _ENTITY.sub(character, text)


def mend_tags(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove HTML tags from the ends of rows, and split rows at a <br> before a line number."""
    mended: list[Row] = []
    for row in rows:
        if "<" not in row.text:
            mended.append(row)
            continue
        first = _TAGS_FIRST.match(row.text)
        text = _without_last(row.text[first.end() :] if first else row.text, "<", _TAG)
        mask = quoted_mask(text, _QUOTES_ONLY)
        parts: list[str] = []
        at = 0
        for match in _BREAK.finditer(text):
            if not mask[match.start()]:
                parts.append(text[at : match.start()].rstrip())
                at = match.end()
        parts.append(text[at:])
        sentence = "Tags of a web page were removed."
        changed = notes.change(row, "html-tag", "\n".join(parts), sentence)
        if changed is row:
            mended.append(row)
        else:
            mended.extend(replace(row, text=part, end="\n") for part in parts)
            mended[-1] = replace(mended[-1], end=row.end)
    return mended


_QUOTES_ONLY = Language(jumps=(), remarks=())


def _without_last(text: str, opener: str, pattern: re.Pattern[str]) -> str:
    """Return the text without trailing marks that match the pattern and are not quoted."""
    mask = quoted_mask(text, _QUOTES_ONLY)
    end = len(text)
    while True:
        trimmed = end
        while trimmed and text[trimmed - 1].isspace():
            trimmed -= 1
        start = text.rfind(opener, 0, trimmed)
        if start < 0 or mask[start] or not pattern.fullmatch(text, start, trimmed):
            return text[:end]
        end = start


def mend_fences(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove the marks that forums put around code: ``` rows and [code] tags."""
    mended: list[Row] = []
    for row in rows:
        text = row.text
        if _FENCE.fullmatch(text):
            text = ""
        elif "[" in text:
            first = _CODE_FIRST.match(text)
            text = text[first.end() :] if first else text
            text = _without_last(text, "[", _CODE_CLOSED)
        mended.append(notes.change(row, "code-fence", text, "Code-block marks were removed."))
    return mended


def mend_replies(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove the > marks of a mail reply: before a number, on a blank row, or after such a row.

    Only if at least as many rows have a mark before their number as have none: a single row such
    as "> 10 THEN 50" could be the rest of a wrapped line, and becomes a doubt.
    """
    rest = {
        place: row.text[match.end() :]
        for place, row in enumerate(rows)
        if (match := _REPLY.match(row.text))
    }
    marked = {place for place, text in rest.items() if NUMBERED.match(text)}
    if not marked:
        return rows
    if len(marked) < sum(row.numbered for row in rows):
        for place in sorted(marked):
            notes.doubt(
                *(rows[place], "reply-mark"), "This may be a reply mark, or it may be intended."
            )
        return rows
    mended: list[Row] = []
    running = False
    for place, row in enumerate(rows):
        running = place in rest and (running or place in marked or not rest[place].strip())
        if running:
            sentence = "Reply marks were removed."
            row = notes.change(row, "reply-mark", rest[place], sentence)
        mended.append(row)
    return mended


def mend_bullets(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove bullets if at least two rows, and at least half of the numbered ones, have them.

    A single row such as "- 10 THEN 50" could be the rest of a wrapped line, and becomes a doubt.
    """
    bulleted = {place for place, row in enumerate(rows) if _BULLETS.match(row.text)}
    plain = sum(row.numbered for row in rows)
    mended = list(rows)
    for place in bulleted:
        row = rows[place]
        if len(bulleted) >= max(2, plain):
            text = _BULLETS.sub("", row.text, count=1)
            mended[place] = notes.change(row, "list-bullet", text, "A bullet was removed.")
        else:
            notes.doubt(row, "list-bullet", f"This may be a bullet, or {REST_OF_LINE}.")
    return mended


def mend_gutters(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove row numbers that a page adds before the line numbers: "1. 10 PRINT".

    They must count up by one without a gap, before ascending line numbers. Numbers without a full
    stop, colon or bracket after them must be on every row, and on at least three.
    """
    found = [
        (place, match)
        for place, row in enumerate(rows)
        if (match := _GUTTER.match(row.text)) or (match := _BARE_GUTTER.match(row.text))
    ]
    doubled = [rows[place] for place, match in found if _statement(rows[place], match)]
    if not doubled:
        return rows
    if not _counts_up(rows, found):
        for row in doubled:
            notes.doubt(
                row, "doubled-number", "The row begins with two numbers; the first may be a page's."
            )
        return rows
    mended = list(rows)
    for place, match in found:
        text = rows[place].text[match.end() :]
        sentence = "The row number of a page was removed."
        mended[place] = notes.change(rows[place], "doubled-number", text, sentence)
    return mended


def _statement(row: Row, match: re.Match[str]) -> re.Match[str] | None:
    return _STATEMENT.match(row.text, match.end())


def _counts_up(rows: list[Row], found: list[tuple[int, re.Match[str]]]) -> bool:
    """Return whether the first numbers of these rows are row numbers added by a page."""
    counts = [int(match[1]) for _, match in found]
    lines = [int(line[1]) for place, match in found if (line := _statement(rows[place], match))]
    first, last = found[0][0], found[-1][0]
    gaps = sum(not row.blank for row in rows[first : last + 1]) - len(found)
    others = sum(row.numbered for row in rows) - len(found)
    marked = all(match.re is _GUTTER for _, match in found)
    return (
        counts == list(range(counts[0], counts[0] + len(counts)))
        and all(a < b for a, b in pairwise(lines))
        and gaps == others == 0
        and 2 * len(lines) >= len(found)
        and (len(found) >= 2 if marked else len(found) >= 3 and len(lines) == len(found))
    )


def mend_around(rows: list[Row], notes: Notes) -> list[Row]:
    """Remove text before a listing, and text after it that a blank row separates from it.

    Only if there are at least two numbered rows. A row that looks like a command (RUN) stays and
    becomes a doubt.
    """
    numbered = [place for place, row in enumerate(rows) if row.numbered]
    if len(numbered) < 2:
        return rows
    first, last = numbered[0], numbered[-1]
    after = next((at for at in range(last + 1, len(rows)) if rows[at].blank), len(rows))
    mended: list[Row] = []
    for place, row in enumerate(rows):
        if first <= place < after or row.blank or notes.kept(row.at):
            mended.append(row)
        elif notes.is_command(row.text):
            notes.doubt(row, "row-without-number", "This is a command outside the listing.")
            mended.append(row)
        else:
            sentence = "Text around the listing was removed."
            row = notes.change(row, "text-around-listing", "", sentence)
            mended.extend([] if row.blank else [row])
    return mended
