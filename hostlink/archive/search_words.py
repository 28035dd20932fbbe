"""Split listings and questions into words, as the word index does."""

from __future__ import annotations

import re

_JOINT = re.compile(r"(?<=[A-Za-z])(?=[0-9])|(?<=[0-9])(?=[A-Za-z])")
# A run of letters and digits is one word for both tokenizers of the index.
_WORD = re.compile(r"[^\W_]+")


def spaced(text: str) -> str:
    """Return the text with a blank wherever letters and digits meet: GOSUB900 becomes two words."""
    return _JOINT.sub(" ", text)


def words(text: str) -> list[str]:
    """Return the words of a text in order, in small letters."""
    return _WORD.findall(text.lower())


def words_only_in(parted: str, text: str) -> str:
    """Return the words of parted that are not in text, each once, separated by blanks."""
    known = set(words(text))
    return " ".join(word for word in dict.fromkeys(words(parted)) if word not in known)
