"""Recognise a board's own rows around an answer, such as OK, a heading, or `12 LINES`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache

from hostlink.listing.rules import Language
from hostlink.listing.tokens import keywords

NUMBER = "{number}"
"""Stands in a row for a number that changes."""

_DIGITS = re.compile(r"[0-9]+")
_WORDS = re.compile(r"[0-9]+ +([A-Za-z]{3,})(?:[ ,.]+[A-Za-z0-9]+)*[.]?")
# Besides the words of the language, which may not be known: the statements of ECMA-55, and those
# found nearly everywhere (from memory).
_STATEMENTS = (
    *("DATA", "DEF", "DIM", "END", "FOR", "GOSUB", "GOTO", "INPUT", "LET", "NEXT", "OPTION"),
    *("PRINT", "RANDOMIZE", "READ", "REM", "RESTORE", "RETURN", "STOP", "CLEAR", "CLS", "POKE"),
    *("LIST", "NEW", "RUN", "CALL", "WAIT", "DELAY"),
)


def shape_of(row: str) -> str:
    """Return a row with `{number}` in place of each number in it."""
    return _DIGITS.sub(NUMBER, row.strip())


def is_own(row: str, own: Iterable[str]) -> bool:
    """Return whether a row is one of those in `own`, apart from blanks around it."""
    bare = row.strip()
    return any(
        bare == each or (NUMBER in each and _pattern(each).fullmatch(bare))
        for each in map(str.strip, own)
    )


def own_rows_in(empty: Sequence[str], full: Sequence[str], lines: Sequence[str]) -> tuple[str, ...]:
    """Find the board's own rows by comparing two listings.

    empty: of an empty memory. full: with lines in it. lines: those of the rows that may be lines. A
    row with a changing number is the board's own if one of its shape appears with an empty memory.
    """
    always = {row.strip() for row in empty} & {row.strip() for row in full}
    shapes = {shape_of(row) for row in empty} & {shape_of(row) for row in full}
    found: list[str] = []
    for row in (*full, *empty):
        bare, shape = row.strip(), shape_of(row)
        if shape in shapes and (bare not in always or row in lines):
            found.append(shape)
        elif bare and (bare in always or row in empty or row not in lines):
            found.append(bare)
    return tuple(dict.fromkeys(found))


def is_count(row: str, language: Language) -> bool:
    """Return whether a row that begins with a number reads as words, not as a line of a program."""
    words = _WORDS.fullmatch(row.strip())
    known = (*keywords(language), *_STATEMENTS)
    return words is not None and not words[1].upper().startswith(known)


def own_rows_around(
    rows: Sequence[str], nothing: Sequence[str], lines: Sequence[str], language: Language
) -> tuple[str, ...]:
    """Find the board's own rows by a listing and by the answer to a request for missing lines.

    lines: those of the rows that may be lines. A first or last one that reads as a count is the
    board's own if a row of its shape is in both answers, unless the second answer lists all the
    lines again.
    """
    said = {row.strip() for row in nothing}
    found = [row.strip() for row in rows if row not in lines and row.strip() in said]
    shapes = [shape_of(row) for row in nothing]
    if len(set(lines) & set(nothing)) < len(lines):
        for row in (*rows[:1], *rows[-1:]):
            if row in lines and is_count(row, language) and shape_of(row) in shapes:
                found.append(shape_of(row))
    return tuple(dict.fromkeys(filter(None, found)))


@lru_cache(maxsize=64)
def _pattern(own: str) -> re.Pattern[str]:
    return re.compile("[0-9]+".join(map(re.escape, own.split(NUMBER))))
