"""What becomes of a typed line in program memory: the text that is kept, its cost, its listed row.

A line is kept as the text that LIST shows of it. With tokens the codes follow from that text alone,
so that a listing typed back is the same program, and what each line costs can be told from it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from hostlink.practice.kind import Language, Storage
from hostlink.practice.token_text import TokenText

_WRAP = 65536
_WRAP_DIGITS = 16  # 10 to the 16 is a multiple of 65536: what stands before them does not matter
_LONGEST_NUMBER = 9  # digits; a longer one is out of range on every board


class Storing:
    """How the boards of one kind keep lines."""

    def __init__(self, storage: Storage, language: Language) -> None:
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
        """Return the line number that typed digits become; any length of them is worked out."""
        if self.rules.beyond == "wrapped":
            return int(digits[-_WRAP_DIGITS:]) % _WRAP
        return int(digits) if len(digits) <= _LONGEST_NUMBER else 10**_LONGEST_NUMBER

    def kept(self, text: bytes) -> bytes:
        """Return the text of a line as it is kept; text: all that was typed behind the number."""
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
        """Return the text with its letters as capitals, where this kind makes them so."""
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
        """Return a line as LIST shows it, without what ends the row."""
        shown = self.shown_number(number)
        if self.rules.row == "{number} {text}":
            return b"%d %b" % (shown, text)
        return self.rules.row.format(number=shown, text=text.decode("latin-1")).encode("latin-1")

    def rows(self, number: int, text: bytes) -> list[bytes]:
        """Return a line as LIST shows it: several rows where it is wider than row_width."""
        row, width = self.row(number, text), self.rules.row_width
        if not width or len(row) <= width:
            return [row]
        indent = b" " * len(self.row(number, b""))
        step = width - len(indent)
        cuts = range(width, len(row), step)
        return [row[:width], *(indent + row[at : at + step] for at in cuts)]


@lru_cache(maxsize=64)
def storing(storage: Storage, language: Language) -> Storing:
    """Return how boards with this storage and this language keep lines."""
    return Storing(storage, language)
