"""A board's own rows: what stands round an answer, such as OK, a heading, or `12 LINES`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache

NUMBER = "{number}"
"""Stands in a row for a number that changes."""

_DIGITS = re.compile(r"[0-9]+")


def shape_of(row: str) -> str:
    """A row with `{number}` in place of each number in it."""
    return _DIGITS.sub(NUMBER, row.strip())


def is_own(row: str, own: Iterable[str]) -> bool:
    """Whether a row is one of those in `own`, whatever blanks stand round it."""
    bare = row.strip()
    return any(bare == each or (NUMBER in each and _pattern(each).fullmatch(bare)) for each in own)


def own_in(empty: Sequence[str], full: Sequence[str], lines: Sequence[str]) -> tuple[str, ...]:
    """Find the board's own rows by two listings.

    empty: of an empty memory. full: with lines in it. lines: those of the rows that may be lines. A
    row with a number that changes is the board's own where one like it stands in an empty memory.
    """
    always = {row.strip() for row in empty} & {row.strip() for row in full}
    shapes = {shape_of(row) for row in empty} & {shape_of(row) for row in full}
    found: list[str] = []
    for row in (*full, *empty):
        bare, shape = row.strip(), shape_of(row)
        if bare not in always and shape in shapes:
            found.append(shape)
        elif bare and (bare in always or row in empty or row not in lines):
            found.append(bare)
    return tuple(dict.fromkeys(found))


@lru_cache(maxsize=64)
def _pattern(own: str) -> re.Pattern[str]:
    return re.compile("[0-9]+".join(map(re.escape, own.split(NUMBER))))
