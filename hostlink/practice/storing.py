"""Convert typed lines for program memory: the kept text, its cost, and the listed row.

A line is kept as the text that LIST shows. With tokens, the codes follow from that text alone, so
that a listing typed again is the same program, and its cost can be computed from the listing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from hostlink.practice.kind import KindLanguage, KindStorage
from hostlink.practice.token_text import TokenText

_WRAP = 65536
_WRAP_DIGITS = 16  # 10 to the 16 is a multiple of 65536, so digits before these do not matter
_LONGEST_NUMBER = 9  # digits; a longer one is out of range on every board


class Storing:
    """The way in which boards of one kind keep lines."""

    def __init__(self, storage: KindStorage, language: KindLanguage) -> None:
        self.rules = storage
        remarks = dict(language.words)["rem"]
        self._tokens = TokenText(storage, language) if storage.form == "tokens" else None
        self._line_bytes = storage.number_bytes + storage.length_bytes + storage.end_bytes
        quoted = "|".join(f"{mark}[^{mark}]*{mark}?" for mark in map(re.escape, language.quotes))
        spared = [quoted] if quoted else []
        if storage.case == "statements":
            spared += [f"(?i:{re.escape(word)}).*" for word in remarks]
        inside = "|".join(spared) or "(?!)"
        self._spared = re.compile(f"({inside})|.".encode("latin-1"), re.DOTALL)

    def number(self, digits: bytes) -> int:
        """Return the line number for typed digits of any length."""
        if self.rules.beyond == "wrapped":
            return int(digits[-_WRAP_DIGITS:]) % _WRAP
        return int(digits) if len(digits) <= _LONGEST_NUMBER else 10**_LONGEST_NUMBER

    def kept(self, text: bytes) -> bytes:
        """Return the kept text of a line. text: everything typed after the number."""
        if self.rules.blanks != "kept":
            text = text.lstrip(b" ")
        if self.rules.case != "kept":
            text = self.folded(text)
        if self._tokens is None:
            return text
        # Squeezing blanks may join characters to another keyword; nothing is left to join then.
        while (listed := self._tokens.listed(text)) != text:
            text = listed
        return text

    def folded(self, text: bytes) -> bytes:
        """Return the text with letters changed to capitals, if this kind does that."""
        return self._spared.sub(lambda found: found[1] or found[0].upper(), text)

    def line_bytes(self, text: bytes) -> int:
        """Return the bytes that a kept line takes."""
        held = len(text) if self._tokens is None else self._tokens.size(text)
        return self._line_bytes + held

    def program_bytes(self, lines: Mapping[int, bytes]) -> int:
        """Return the bytes that a whole program takes."""
        return sum(map(self.line_bytes, lines.values()))

    def shown_number(self, number: int) -> int:
        """Return the line number that the board shows."""
        signed = self.rules.signed_numbers and number > _WRAP // 2 - 1
        return number - _WRAP if signed else number

    def row(self, number: int, text: bytes) -> bytes:
        """Return a line as LIST shows it, without its line end."""
        shown = self.shown_number(number)
        if self.rules.row == "{number} {text}":
            return b"%d %b" % (shown, text)
        return self.rules.row.format(number=shown, text=text.decode("latin-1")).encode("latin-1")

    def rows(self, number: int, text: bytes) -> list[bytes]:
        """Return the rows in which LIST shows a line, several if it is wider than row_width."""
        row, width = self.row(number, text), self.rules.row_width
        if not width or len(row) <= width:
            return [row]
        indent = b" " * len(self.row(number, b""))
        step = width - len(indent)
        cuts = range(width, len(row), step)
        return [row[:width], *(indent + row[at : at + step] for at in cuts)]


@lru_cache(maxsize=64)
def storing(storage: KindStorage, language: KindLanguage) -> Storing:
    """Return how boards with this storage and this language keep lines."""
    return Storing(storage, language)
