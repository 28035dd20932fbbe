"""Words for every part of hostlink: counts, foreign text made safe, names compared and in order."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

_LONGEST_COMPARED = 60
_MOST_NAMED = 6  # line numbers in one sentence
_DIGITS = re.compile(r"([0-9]{1,18})")

USED, SENT, UNUSED, BEYOND, LIMIT, HERE = "━", "─", "┄", "╳", "┃", "█"
"""The signs of a track of memory: its bytes or pages, its limit, what lies beyond, the place."""


def safe(text: str, *, keep: str = "") -> str:
    """Return text with everything that a terminal might obey shown as an escape.

    keep: control characters that stay as they are, such as line feeds in a listing.
    """
    if text.isprintable():
        return text
    return "".join(one if one.isprintable() or one in keep else _escape(one) for one in text)


def _escape(character: str) -> str:
    code = ord(character)
    for letter, digits in (("x", 2), ("u", 4)):
        if code < 16**digits:
            return f"\\{letter}{code:0{digits}x}"
    return f"\\U{code:08x}"


def plural(count: int, word: str) -> str:
    """Return a count with its word: 1 line, 2 lines, 1,026 bytes."""
    return f"{count:,} {word}" + ("" if count == 1 else "s")


def lines_named(numbers: Iterable[int]) -> str:
    """Return line numbers with their word: line 20, lines 20, 30, lines 20, 30 ... and 2 more."""
    every = [str(number) for number in numbers]
    more = f" and {len(every) - _MOST_NAMED:,} more" if len(every) > _MOST_NAMED else ""
    return ("line " if len(every) == 1 else "lines ") + ", ".join(every[:_MOST_NAMED]) + more


def split_rows(text: str) -> list[str]:
    """Split text at CR LF, LF and CR only, unlike `str.splitlines`; a last row may be empty."""
    # Several times as fast as a regular expression; searches do it for each listing they show.
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def capital(words: str) -> str:
    """Return words fit for the start of a sentence: The practice board."""
    return words[:1].upper() + words[1:]


def fold(text: str) -> str:
    """Return a name, tag or label as it is compared: without regard to case."""
    if text.isascii():
        return text.lower()  # as below, in a tenth of the time
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", text).casefold())


def unaccented(text: str) -> str:
    """Return text without the accents and other marks of its letters: Cagla for Çağla, ss for ß."""
    if text.isascii():
        return text
    parts = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ẞ", "SS"))
    return "".join(one for one in parts if not unicodedata.combining(one))


def natural(name: str) -> list[str | int]:
    """Return a key that sorts names as people do: BOARD-2 before BOARD-10, Åse beside Asta.

    Case and accents do not count.
    """
    key: list[str | int] = list(_DIGITS.split(fold(unaccented(name))))
    key[1::2] = map(int, key[1::2])  # text and numbers alternate, so that keys compare
    return key


def nearest(name: str, known: Iterable[str], most: int = 3) -> list[str]:
    """Return up to `most` known names that resemble an unknown one, the most similar first.

    Without regard to case. A name of more than 60 characters resembles none.
    """
    import difflib  # needed only for a wrong name

    if len(name) > _LONGEST_COMPARED:
        return []
    by_key = {each.casefold(): each for each in known}
    return [by_key[key] for key in difflib.get_close_matches(name.casefold(), by_key, most)]


def sent_again(repairs: int) -> str:
    """Say how many lines were damaged on the wire and sent again."""
    return f"{plural(repairs, 'line')} sent again"
