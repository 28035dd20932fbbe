"""Keep lines as tokens: keywords as codes, with the cost of each part of a line."""

from __future__ import annotations

import re
from dataclasses import dataclass

from hostlink.practice.kind import KindLanguage, KindStorage

_CLOSE = frozenset((b"(", b")", b":", b",", b";"))

_BLANK, _WORD, _QUOTED, _REMARK, _NUMBER, _NAME, _OTHER = range(7)


@dataclass(frozen=True, slots=True)
class Token:
    """One part of a line. sort: its kind. text: as listed."""

    sort: int
    text: bytes


class TokenText:
    """Splits lines into tokens and joins them again, for one kind of board."""

    def __init__(self, storage: KindStorage, language: KindLanguage) -> None:
        self._squeezes = storage.blanks == "squeezed"
        self._at_least = language.at_least.encode("latin-1")
        self._remarks = {word.encode("latin-1") for word in dict(language.words)["rem"]}
        self._costs = {word.encode("latin-1"): cost for word, cost in storage.token_bytes}
        self._word_bytes = storage.keyword_bytes
        self._number_bytes = storage.constant_bytes
        self._name_bytes = storage.name_bytes
        words = sorted(storage.keywords, key=len, reverse=True)
        any_word = "|".join(map(re.escape, words)) or "(?!)"
        names = "names" in language.means  # a keyword ends a long one
        inside = f"(?:(?!{any_word})[A-Za-z0-9])*" if names else "[0-9]?"
        parts = (
            " +",
            any_word,
            "|".join(f"{mark}[^{mark}]*{mark}?" for mark in map(re.escape, language.quotes)),
            "(?!)",  # the text of a remark follows its word
            "[0-9]+",
            f"[A-Za-z]{inside}[$]?",
            ".",
        )
        pattern = "|".join(f"({part or '(?!)'})" for part in parts)
        flags = re.DOTALL | (re.IGNORECASE if language.small_letters else re.NOFLAG)
        self._part = re.compile(pattern.encode("latin-1"), flags)

    def tokens(self, text: bytes) -> list[Token]:
        """Split a line into tokens."""
        found = []
        at = 0
        while at < len(text):
            match = self._part.match(text, at)
            assert match is not None  # the last part takes any byte
            sort, part = (match.lastindex or 1) - 1, match[0]
            at = match.end()
            if sort == _WORD:
                part = self._at_least if part in (b">=", b"=>") else part.upper()
            found.append(Token(sort, part))
            if sort == _WORD and part in self._remarks and at < len(text):
                found.append(Token(_REMARK, text[at:]))
                break
        return found

    def listed(self, text: bytes) -> bytes:
        """Return the line as LIST shows it after storing."""
        tokens = self.tokens(text)
        if not self._squeezes:
            return b"".join(token.text for token in tokens)
        tokens = [token for token in tokens if token.sort != _BLANK]
        row = b""
        for before, token in zip((None, *tokens), tokens, strict=False):
            if _stands_apart(before, token) and not row.endswith(b" "):
                row += b" "
            row += token.text
        return row

    def size(self, listed: bytes) -> int:
        """Return the bytes of a line without its number. listed: from `listed`."""
        return sum(self._bytes(token) for token in self.tokens(listed))

    def _bytes(self, token: Token) -> int:
        if token.sort == _WORD:
            return self._costs.get(token.text, self._word_bytes)
        if token.sort == _BLANK and self._squeezes:
            return 0
        if token.sort == _NUMBER and self._number_bytes:
            return self._number_bytes
        if token.sort == _NAME and self._name_bytes:
            return self._name_bytes
        return len(token.text)


def _stands_apart(before: Token | None, token: Token) -> bool:
    """Return whether a blank stands between two tokens.

    It stands before each keyword, and after a keyword of letters unless certain symbols follow.
    """
    if before is None or token.sort == _REMARK:
        return False
    if token.sort == _WORD:
        return True
    return before.sort == _WORD and before.text.isalpha() and token.text not in _CLOSE
