"""Taking one line of BASIC apart, far enough to know quoted text, remarks, words and numbers.

These boards find a keyword wherever its letters stand (`GOTO10`, `PRINTA`, `FORI=1TO9`), unless
the language has long names. The spans of a line always add up to the line; no text is an error.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from hostlink.listing.rules import Language

Kind = Literal["quoted", "remark", "word", "name", "number", "blank", "symbol"]


@dataclass(frozen=True, slots=True)
class Span:
    """A piece of a line.

    kind: "quoted" (with its quotes; to the end of the line where none closes it), "remark" (what
        follows a remark word), "word" (a keyword, also one written `GO TO` or abbreviated),
        "name", "number", "blank" or "symbol".
    start: its first character, counted from 0. word: the keyword in full capitals, or "".
    """

    kind: Kind
    start: int
    text: str
    word: str = ""

    @property
    def end(self) -> int:
        """The character after the last one."""
        return self.start + len(self.text)


@dataclass(frozen=True, slots=True)
class _Scanner:
    """What scanning needs to know of a language, worked out once."""

    pattern: re.Pattern[str]
    table: tuple[str, ...]
    remarks: frozenset[str]


def keywords(language: Language) -> tuple[str, ...]:
    """All words of the language in capitals, without inner blanks, in the order of its tables.

    ELSE counts wherever THEN does: it may be followed by a line number in the same way.
    """
    found = [*language.statements, *language.functions, *language.jumps, *language.remarks]
    words = [word.upper().replace(" ", "") for word in found if word.strip()]
    if "THEN" in words:
        words.append("ELSE")
    return tuple(dict.fromkeys(words))


def _word_pattern(word: str, long_names: bool) -> str:
    """GOTO and GOSUB may hold blanks (ECMA-55, section 12); others are written as they are."""
    pattern = re.escape(word)
    if word in ("GOTO", "GOSUB"):
        pattern = f"GO *{word[2:]}"
    return pattern + (r"(?![A-Z_])" if long_names and word[-1].isalpha() else "")


@lru_cache(maxsize=64)
def _scanner(language: Language) -> _Scanner:
    table = keywords(language)
    quoted = "|".join(f"{q}[^{q}]*(?:{q}|\\Z)" for q in map(re.escape, language.quotes))
    words = "|".join(
        _word_pattern(word, language.long_names)
        for word in sorted(table, key=lambda word: (-len(word), word))
    )
    mark = re.escape(language.abbreviation_mark)
    name = r"[A-Z][A-Z0-9_]*[$%]?" if language.long_names else r"[A-Z][0-9]*[$%]?"
    never = r"(?!)"
    pattern = (
        f"(?P<quoted>{quoted or never})"
        f"|(?P<word>{words or never})"
        f"|(?P<short>{'[A-Z]{1,15}' + mark if mark else never})"
        r"|(?P<number>(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:E[+-]?[0-9]+)?)"
        r"|(?P<blank> +)"
        f"|(?P<name>{name})"
        r"|(?P<symbol>.)"
    )
    return _Scanner(
        re.compile(pattern, re.ASCII | re.IGNORECASE | re.DOTALL),
        table,
        frozenset(word.upper().replace(" ", "") for word in language.remarks),
    )


def _in_full(short: str, scanner: _Scanner, mark: str) -> str:
    """The first word of the table that an abbreviation fits, or ""."""
    start = short[: -len(mark)].upper()
    return next((word for word in scanner.table if word.startswith(start)), "")


def scan(text: str, language: Language) -> tuple[Span, ...]:
    """Take the text of a line (what follows its number) apart. Never raises."""
    scanner = _scanner(language)
    spans: list[Span] = []
    at = 0
    while at < len(text):
        match = scanner.pattern.match(text, at)
        assert match is not None  # the last alternative takes any character
        kind, piece, word = match.lastgroup, match[0], ""
        if kind == "word":
            word = piece.upper().replace(" ", "")
        elif kind == "short":
            word = _in_full(piece, scanner, language.abbreviation_mark)
            kind, piece = ("word", piece) if word else ("name", piece[0])
        spans.append(Span(kind, at, piece, word))  # type: ignore[arg-type]
        at += len(piece)
        if word in scanner.remarks and at < len(text):
            spans.append(Span("remark", at, text[at:]))
            break
    return tuple(spans)
