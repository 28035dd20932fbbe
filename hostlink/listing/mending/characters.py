"""Replace characters that word processors, web pages and phones insert for plain ones.

The table follows the CLDR transform Latin-ASCII (Unicode, common/transforms) for quotes, dashes,
signs, blanks and full-width forms, with these additions: U+202F and U+1680 are blanks; invisible
characters are removed; the low quotes U+201A and U+201E become quotes (CLDR: commas), because in a
listing they open quoted text. Letters and digits that only look similar are kept.
"""

from __future__ import annotations

from hostlink.listing.charset import accepts_character, character_name
from hostlink.listing.mending.rows import Notes, Row, quoted_mask

DOUBLE_QUOTES = frozenset("\u201c\u201d\u201e\u201f\u2033\uff02")
_RUNS = {
    "typographic-quote": dict.fromkeys("\u2018\u2019\u201a\u201b\u2032", "'"),
    "typographic-dash": dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-"),
    "typographic-sign": {
        "\u00d7": "*",
        "\u00f7": "/",
        "\u2044": "/",
        "\u2215": "/",
        "\u2026": "...",
    },
    "unusual-blank": dict.fromkeys(
        "\u00a0\u1680\u202f\u205f\u3000" + "".join(map(chr, range(0x2000, 0x200B))), " "
    ),
    "invisible-character": dict.fromkeys(
        "\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"
        + "".join(map(chr, [*range(0x202A, 0x202F), *range(0x2066, 0x206A)])),
        "",
    ),
    "full-width-character": {
        chr(code): chr(code - 0xFEE0) for code in range(0xFF01, 0xFF5F) if code != 0xFF02
    },
}
_OUTSIDE_ONLY = {"\u2264": "<=", "\u2265": ">="}
_SENTENCES = {
    "typographic-quote": "Typographic quotes became plain ones",
    "typographic-dash": "Dashes became minus signs",
    "typographic-sign": "Typographic signs became those of BASIC",
    "unusual-blank": "Unusual blanks became plain ones",
    "invisible-character": "Characters that cannot be seen were removed",
    "full-width-character": "Full-width characters became plain ones",
    "tab": "Tabs became single blanks",
    "soft-hyphen": "Soft hyphens became minus signs; check whether one is meant",
    "control-character": "Page breaks around the line were removed",
}
_KIND = {char: kind for kind, table in _RUNS.items() for char in table} | dict.fromkeys(
    _OUTSIDE_ONLY, "typographic-sign"
)
PLAIN = {char: plain for table in _RUNS.values() for char, plain in table.items()}


def mend_characters(rows: list[Row], notes: Notes) -> list[Row]:
    """Replace typographic and invisible characters in every row."""
    return [
        row if row.text.isascii() and row.text.isprintable() else _mended(row, notes)
        for row in rows
    ]


def _mended(row: Row, notes: Notes) -> Row:
    for step in (_page_breaks, _double_quotes, _table, _tabs, _soft_hyphens, _doubts):
        row = step(row, notes)
    return row


def _change(row: Row, kind: str, text: str, inside: bool, notes: Notes) -> Row:
    also = ", inside quoted text or a remark too" if inside else ""
    return notes.change(row, kind, text, f"{_SENTENCES[kind]}{also}.")


def _page_breaks(row: Row, notes: Notes) -> Row:
    """Remove form feeds and vertical tabs from the ends of a row; inside they are a doubt."""
    return _change(row, "control-character", row.text.strip("\f\v"), False, notes)


def _double_quotes(row: Row, notes: Notes) -> Row:
    """Make double typographic quotes plain, unless they are mixed with plain ones."""
    marks = [char for char in row.text if char in DOUBLE_QUOTES or char == '"']
    plain = marks.count('"')
    if plain == len(marks):
        return row
    pairs = zip(marks[::2], marks[1::2], strict=False)
    mixed = any((a == '"') != (b == '"') for a, b in pairs)
    if (plain and plain % 2 == 0 and mixed) or (plain % 2 and len(marks) % 2):
        notes.doubt(
            *(row, "typographic-quote"),
            "Typographic and plain quotes are mixed; it is not clear which of them open and close "
            "the text.",
        )
        return row
    text = "".join('"' if char in DOUBLE_QUOTES else char for char in row.text)
    return _change(row, "typographic-quote", text, False, notes)


def _table(row: Row, notes: Notes) -> Row:
    """Replace characters by the table, with a separate repair for each kind.

    In quoted text and remarks a character that the board accepts is kept.
    """
    kinds = dict.fromkeys(_KIND[char] for char in row.text if char in _KIND)
    for kind in kinds:
        guard = quoted_mask(row.text, notes.language)
        inside = False
        pieces: list[str] = []
        for char, guarding in zip(row.text, guard, strict=True):
            if _KIND.get(char) != kind or (guarding and _stays(char, notes)):
                pieces.append(char)
            else:
                pieces.append(_OUTSIDE_ONLY.get(char) or PLAIN[char])
                inside = inside or bool(guarding)
        row = _change(row, kind, "".join(pieces), inside, notes)
    return row


def _stays(char: str, notes: Notes) -> bool:
    """Return whether a character inside quoted text or a remark is kept."""
    return char in _OUTSIDE_ONLY or (
        notes.rules is not None and accepts_character(char, notes.rules.form)
    )


def _tabs(row: Row, notes: Notes) -> Row:
    """Replace each tab outside quoted text by one blank; inside, tabs are a doubt."""
    if "\t" not in row.text or (notes.rules and accepts_character("\t", notes.rules.form)):
        return row
    places = list(zip(row.text, quoted_mask(row.text, notes.language), strict=True))
    if ("\t", 2) in places:
        notes.doubt(row, "tab", "Quoted text contains a tab; it may be one blank or several.")
    text = "".join(" " if char == "\t" and guard != 2 else char for char, guard in places)
    return _change(row, "tab", text, False, notes)


def _soft_hyphens(row: Row, notes: Notes) -> Row:
    """Make soft hyphens minus signs (as CLDR); between letters or at an end they are a doubt."""
    if "\u00ad" not in row.text:
        return row
    pieces = list(row.text)
    for place, char in enumerate(row.text):
        before, after = row.text[place - 1 : place], row.text[place + 1 : place + 2]
        if char == "\u00ad" and after and not (before.isalpha() and after.isalpha()):
            pieces[place] = "-"
    return _change(row, "soft-hyphen", "".join(pieces), False, notes)


def _doubts(row: Row, notes: Notes) -> Row:
    """Report the characters that were kept: control characters, line separators, soft hyphens."""
    form = notes.rules.form if notes.rules else None
    odd = {char for char in row.text if _odd(char) and not (form and accepts_character(char, form))}
    if odd:
        names = ", ".join(character_name(char) for char in sorted(odd)[:5])
        notes.doubt(row, "control-character", f"The row holds {names}; nothing was changed.")
    if "\u00ad" in row.text:
        notes.doubt(
            *(row, "soft-hyphen"),
            "A soft hyphen is between letters or at the end; it may be a minus sign.",
        )
    return row


def _odd(char: str) -> bool:
    code = ord(char)
    return (code < 32 and char != "\t") or 127 <= code < 160 or code in (0x2028, 0x2029)
