"""Find the table of BASIC words in a firmware image, without running it.

How tables mark the ends of their words is common practice, no source: the last or the first letter
has its high bit set, a NUL follows, the length stands in front, or an address of which the first
byte has its high bit set follows. A run of such entries is a table if it holds enough of the words
that nearly every BASIC has (ECMA-55, Minimal BASIC, 1978, sections 4 to 17).

A message of one word in front of a table or after it looks like a word of it. It is left out if
its letters are of another case than those of the table, or if it is a usual message.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

CORE = frozenset(
    [
        "PRINT",
        "INPUT",
        "LET",
        "GOTO",
        "GOSUB",
        "RETURN",
        "FOR",
        "NEXT",
        "TO",
        "STEP",
        "IF",
        "THEN",
        "REM",
        "END",
        "STOP",
        "LIST",
        "RUN",
        "NEW",
    ]
)
# Messages of one word that interpreters print: common practice, no source.
_MESSAGES = frozenset(
    [*("OK", "READY", "ERROR", "BREAK", "WHAT", "HOW", "SORRY"), "HELLO", "SYNTAX", "OVERFLOW"]
)
_LEAST_CORE = 5  # of these words in a table
_LEAST_BESIDE = 2  # of them in another table of the same form
_LEAST_WORDS = 3
_MOST_SIGNS = 12  # operators in a row, such as >= and <>
_UNMARKED = bytes(byte & 0x7F for byte in range(256))
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*[$#(]?")

Entry = tuple[str, int]
"""The text of an entry, and the place after it."""


@dataclass(frozen=True, slots=True)
class WordTable:
    """A table of words. start, stop: its addresses. form: how it marks the ends of its words."""

    start: int
    stop: int
    form: str
    words: tuple[str, ...]

    @property
    def core(self) -> int:
        """Return how many of its words nearly every BASIC has."""
        return len(CORE.intersection(self.words))


def find_word_tables(flash: bytes) -> tuple[WordTable, ...]:
    """Return the tables of BASIC words in flash, by address; empty if none is recognised."""
    plain = flash.translate(_UNMARKED).upper()
    if sum(word.encode() in plain for word in CORE) < _LEAST_CORE:
        return ()
    found: list[WordTable] = []
    for form, entry in _FORMS.items():
        tables = _tables(flash, form, entry)
        if any(table.core >= _LEAST_CORE for table in tables):
            found += tables
    found.sort(key=lambda each: (-each.core, each.start))
    kept: list[WordTable] = []
    for table in found:
        if all(table.stop <= other.start or table.start >= other.stop for other in kept):
            kept.append(table)
    return tuple(sorted(kept, key=lambda each: each.start))


def _tables(
    flash: bytes, form: str, entry: Callable[[bytes, int], Entry | None]
) -> list[WordTable]:
    """Return the runs of entries of one form that are tables of BASIC words."""
    found = []
    place = 0
    while place < len(flash):
        if place and 32 <= flash[place - 1] < 127 and 32 <= flash[place] < 127:
            read = entry(flash, place)
            if read is None or read[0] not in CORE:
                place += 1  # within a text, not after code that looks like one
                continue
        stop, words = _run(flash, place, entry)
        if len(CORE.intersection(words)) >= _LEAST_BESIDE and len(words) >= _LEAST_WORDS:
            found.append(WordTable(place, stop, form, words))
            place = stop
        else:
            place += 1
    return found


def _run(
    flash: bytes, place: int, entry: Callable[[bytes, int], Entry | None]
) -> tuple[int, tuple[str, ...]]:
    """Return where a run of entries ends, and its words in capitals, each once."""
    found: list[Entry] = []
    at, signs, is_capital = place, 0, False
    while (read := entry(flash, at)) is not None and signs <= _MOST_SIGNS:
        text, at = read
        if _WORD.fullmatch(text):
            if found and text.isupper() != is_capital:
                break
            is_capital = text.isupper()
            found.append((text.upper().rstrip("("), at))
            signs = 0
        elif any(each.isalnum() for each in text):
            break
        else:
            signs += 1
            if not found:
                break  # a table begins with a word
    while found and found[-1][0] in _MESSAGES:
        found.pop()
    while found and found[0][0] in _MESSAGES:
        found.pop(0)
    return found[-1][1] if found else place, tuple(dict.fromkeys(word for word, _ in found))


_MARKED_LAST = re.compile(rb"\0?([!-~]{0,10})([\xa1-\xfe])")
_MARKED_FIRST = re.compile(rb"\0?([\xa1-\xfe])([!-~]{0,10})")
_NUL = re.compile(rb"([!-~]{1,11})\0{1,2}")
_ADDRESS = re.compile(rb"([!-~]{2,11})[\x80-\xff][\x00-\xff]")
_TEXT = re.compile(rb"[!-~]+")


def _marked_last(flash: bytes, place: int) -> Entry | None:
    match = _MARKED_LAST.match(flash, place)
    if match is None:
        return None
    return (match[1] + bytes((match[2][0] & 0x7F,))).decode("ascii"), match.end()


def _marked_first(flash: bytes, place: int) -> Entry | None:
    match = _MARKED_FIRST.match(flash, place)
    if match is None:
        return None
    return (bytes((match[1][0] & 0x7F,)) + match[2]).decode("ascii"), match.end()


def _nul(flash: bytes, place: int) -> Entry | None:
    match = _NUL.match(flash, place)
    return None if match is None else (match[1].decode("ascii"), match.end())


def _address(flash: bytes, place: int) -> Entry | None:
    match = _ADDRESS.match(flash, place)
    return None if match is None else (match[1].decode("ascii"), match.end())


def _length(flash: bytes, place: int) -> Entry | None:
    size = flash[place] if place < len(flash) else 0
    text = flash[place + 1 : place + 1 + size]
    if not 1 <= size <= 11 or len(text) < size or not _TEXT.fullmatch(text):
        return None
    return text.decode("ascii"), place + 1 + size


_FORMS: dict[str, Callable[[bytes, int], Entry | None]] = {
    "high bit on the last letter": _marked_last,
    "a NUL after each word": _nul,
    "the length before each word": _length,
    "an address after each word": _address,
    "high bit on the first letter": _marked_first,
}
