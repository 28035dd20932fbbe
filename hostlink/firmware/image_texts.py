"""Find the texts in a firmware image that people could read, without running it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_LEAST = 6  # characters; shorter runs occur by chance
# A run of printable characters that ends as texts do: at a NUL, a line end, or a marked byte. A
# short one has to stand between NULs or line ends.
_RUN = re.compile(
    rb"[ -~]{%d,}(?=[\x00\r\n\x80-\xff]|$)|(?<=[\x00\r\n])[A-Z][ -~]{3,}(?=[\x00\r\n])" % _LEAST
)
_WORDS = re.compile(r"[A-Za-z]+")
_VOWEL = re.compile(r"[AEIOUYaeiouy]")
_SPELT = re.compile(
    r"[A-Z]+|[A-Z]{0,3}[a-z]+(?:[A-Z]{2,}|[A-Z][a-z]+)?"
)  # no capital within a word
# What stands between blanks in a text: a word, a number, a sign; with the marks around it.
_TOKEN = re.compile(
    r"""[\["'(<#@]*
    (?: [A-Za-z]+ (?:['/.:@_-]+[A-Za-z]+)* (?:\)?[0-9]+[A-Z]?)?
      | [Vv]?[0-9]+ (?:[.:,][0-9]+)* [A-Za-z]{0,3}
      | [=+*/%<>&:-]{1,2} )?
    [\]"')>#]*[.,:;!?]*""",
    re.VERBOSE,
)
_ONE_WORD = re.compile(r"(?:[A-Z]?[a-z]+|[A-Z]{7,})[.:!?]?")
_UNLIKE_A_WORD = re.compile(  # rare in English: common practice, no source
    r"[^aeiouy]{4}|[aeiouy]{4}|^[^aeiouy]{3}|[^aeiouy]{3}$|^([^aeiouy])\1|[jqv](?![aeiouy])"
    r"|[hjquvi]$",
    re.IGNORECASE,
)
_LEAST_WORD = 3  # letters


@dataclass(frozen=True, slots=True)
class ImageText:
    """A text in flash. at: its address."""

    at: int
    text: str


def find_texts(flash: bytes, outside: Sequence[tuple[int, int]] = ()) -> tuple[ImageText, ...]:
    """Return the texts in flash, by address. outside: ranges of addresses to leave out."""
    found = []
    for match in _RUN.finditer(flash):
        at, text = match.start(), match[0].decode("ascii").strip()
        if any(start <= at < stop for start, stop in outside) or not _reads_well(text):
            continue
        found.append(ImageText(at, text))
    return tuple(found)


def _reads_well(text: str) -> bool:
    """Return whether a text is meant for people: made of words, or one word that sounds like one.

    In code, six bytes in a row are printable by chance in every fifteenth kilobyte. A text that
    could be such a run does not count.
    """
    tokens = text.split()
    if not all(_TOKEN.fullmatch(token) for token in tokens):
        return False
    if len(tokens) == 1:
        return _ONE_WORD.fullmatch(text) is not None and not _UNLIKE_A_WORD.search(
            text.rstrip(".:!?")
        )
    spelt = [
        word
        for word in _WORDS.findall(text)
        if len(word) >= _LEAST_WORD and _VOWEL.search(word) and _SPELT.fullmatch(word)
    ]
    longest = max(map(len, spelt), default=0)
    return longest > _LEAST_WORD and 2 * sum(map(len, spelt)) > len(text.replace(" ", ""))
