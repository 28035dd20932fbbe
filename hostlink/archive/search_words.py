"""Split listings and questions into words, as the word index does."""

from __future__ import annotations

import re
from collections.abc import Iterable

_JOINT = re.compile(r"(?<=[A-Za-z])(?=[0-9])|(?<=[0-9])(?=[A-Za-z])")
# A run of letters and digits is one word for both tokenizers of the index.
_WORD = re.compile(r"[^\W_]+")


def spaced(text: str) -> str:
    """Return the text with a blank wherever letters and digits meet: GOSUB900 becomes two words."""
    return _JOINT.sub(" ", text)


def words(text: str) -> list[str]:
    """Return the words of a text in order, in small letters."""
    return _WORD.findall(text.lower())


def marks(line: str, asked: Iterable[str]) -> list[tuple[int, int]]:
    """Return where words or beginnings of words stand in a line, each as start and end, ascending.

    GOSUB900 is found for `gosub 900` and the reverse, as the search does.
    """
    return [place.span() for place in _places(asked).finditer(line)]


def marked(line: str, asked: Iterable[str]) -> str:
    """Return a line with the places of `marks` between » and «."""
    return _places(asked).sub(r"»\g<0>«", line)


def _places(asked: Iterable[str]) -> re.Pattern[str]:
    """Return a pattern for one or more of the words side by side."""
    longest_first = sorted(words(spaced(" ".join(asked))), key=len, reverse=True)
    either = "|".join(map(_standing, longest_first)) or "(?!)"
    return re.compile(f"(?:{either})+", re.IGNORECASE)


def _standing(word: str) -> str:
    """Return a pattern for a word; three letters or more may be the beginning of a longer one."""
    if word.isdigit():
        return rf"(?<!\d){word}(?!\d)"
    return rf"(?<![^\W\d_]){re.escape(word)}" + ("" if len(word) >= 3 else r"(?![^\W\d_])")


def words_only_in(parted: str, text: str) -> str:
    """Return the words of `parted` that `text` lacks, each once, separated by blanks."""
    known = set(words(text))
    return " ".join(word for word in dict.fromkeys(words(parted)) if word not in known)
