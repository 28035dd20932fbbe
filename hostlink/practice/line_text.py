"""The text of a line of BASIC, and how far it has been read."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TypeVar

from hostlink.practice.arithmetic import LARGEST, Value
from hostlink.practice.complaint import Complaint, Reason, excerpt
from hostlink.practice.functions import plain
from hostlink.practice.kind import KindLanguage

_Read = TypeVar("_Read")
DIGITS = frozenset("0123456789")
LETTERS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
_BLANKS = " \t"
_FRACTION = re.compile(r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:E[+-]?[0-9]{1,2})?")


class LineText:
    """The text of a line and how far it has been read. `upper` is for finding keywords."""

    __slots__ = ("at", "branches", "depth", "language", "others", "text", "upper")

    def __init__(self, text: str, language: KindLanguage) -> None:
        self.text = text
        self.language = language
        self.upper = text.translate(_CAPITALS) if language.small_letters else text
        self.at = 0
        self.depth = 0
        self.branches: list[list[int]] = []  # of each IF without ELSE so far: the step to skip to
        self.others = dict(language.words)["else"]

    def peek(self) -> str:
        """Skip blanks; return the next character as a capital, "" at the end."""
        upper, at = self.upper, self.at
        while at < len(upper) and upper[at] in _BLANKS:
            at += 1
        self.at = at
        return upper[at : at + 1]

    def ends(self) -> bool:
        """Skip blanks; return whether the statement ends here."""
        ends = self.peek() in ("", self.language.separator)
        return ends or self.upper.startswith(self.others, self.at)

    def take(self, *words: str) -> str:
        """Skip blanks and take the first of the words that stands here; "" if none does."""
        self.peek()
        for word in words:
            if self.upper.startswith(word, self.at):
                self.at += len(word)
                return word
        return ""

    def need(self, word: str) -> None:
        """Take a word. Raises Complaint if something else stands here."""
        if not self.take(word):
            raise self.puzzled()

    def listed(self, read: Callable[[LineText], _Read]) -> list[_Read]:
        """Read one item or several with commas between them; return what `read` took for each."""
        found = [read(self)]
        while self.take(","):
            found.append(read(self))
        return found

    def digits(self) -> int:
        """Take a run of digits, at most `LARGEST` + 1. Raises Complaint beyond."""
        start = self.at
        while self.upper[self.at : self.at + 1] in DIGITS:
            self.at += 1
        run = self.upper[start : self.at].lstrip("0") or "0"
        if len(run) > 5 or int(run) > LARGEST + 1:
            raise Complaint(Reason.RANGE)
        return int(run)

    def fraction(self) -> Value:
        """Take a number that may have a fraction and an exponent."""
        found = _FRACTION.match(self.upper, self.at)
        if found is None:
            raise self.puzzled()
        self.at = found.end()
        return plain(float(found[0]))

    def quoted(self) -> str:
        """Take quoted text. Raises Complaint if it is not closed."""
        start = self.at + 1
        end = self.text.find(self.text[self.at], start)
        if end < 0:
            raise Complaint(Reason.QUOTE, self.at)
        self.at = end + 1
        return self.text[start:end]

    def puzzled(self) -> Complaint:
        """Return the complaint about what stands here."""
        rest = self.text[self.at :].strip(_BLANKS)
        if not rest:
            return Complaint(Reason.SHORT)
        lacks = self.take(*self.language.lacks)
        return Complaint(Reason.PUZZLED, self.at - len(lacks), rest=excerpt(rest), lacks=lacks)


_CAPITALS = {ord(letter.lower()): letter for letter in LETTERS}
