"""Words of listings and of questions, cut the same way that the word index cuts them."""

from __future__ import annotations

import re

_JOINT = re.compile(r"(?<=[A-Za-z])(?=[0-9])|(?<=[0-9])(?=[A-Za-z])")
# A run of letters and digits is one word for both tokenizers of the index.
_WORD = re.compile(r"[^\W_]+")


def spaced(text: str) -> str:
    """The text with a blank wherever letters and digits meet, so that GOSUB900 gives two words."""
    return _JOINT.sub(" ", text)


def words(text: str) -> list[str]:
    """The words of a text in order, in small letters."""
    return _WORD.findall(text.lower())


def words_only_in(parted: str, text: str) -> str:
    """The words of parted that are no words of text, each once, with blanks between."""
    known = set(words(text))
    return " ".join(word for word in dict.fromkeys(words(parted)) if word not in known)
