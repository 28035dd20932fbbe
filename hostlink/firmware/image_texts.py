"""Find the texts in a firmware image that people could read, without running it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_LEAST = 6  # characters; shorter runs come about by chance
# A run of printable characters that ends as texts do: at a NUL, a line end, or a marked byte. A
# short one has to stand between NULs or line ends.
_RUN = re.compile(
    rb"[ -~]{%d,}(?=[\x00\r\n\x80-\xff]|$)|(?<=[\x00\r\n])[A-Z][ -~]{3,}(?=[\x00\r\n])" % _LEAST
)
_WORDS = re.compile(r"[A-Za-z]{3,}")
_VOWEL = re.compile(r"[AEIOUYaeiouy]")
_SPELT = re.compile(r"[A-Z]+|[A-Z]*[a-z]+(?:[A-Z]{2,}|[A-Z][a-z]+)?")  # no capital within a word
_PLAIN = 0.75  # of a text that is letters and blanks


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
    """Return whether a text is likely to be meant for people: words, and few signs."""
    words = [
        word for word in _WORDS.findall(text) if _VOWEL.search(word) and _SPELT.fullmatch(word)
    ]
    plain = sum(each.isalpha() or each == " " for each in text)
    return plain >= _PLAIN * len(text) and 2 * sum(map(len, words)) > len(text)
