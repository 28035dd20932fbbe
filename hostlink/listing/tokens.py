"""Split one line of BASIC into quoted text, remarks, keywords, names, numbers and symbols.

These boards recognise a keyword wherever its letters occur (`GOTO10`, `PRINTA`, `FORI=1TO9`),
unless the language has long names. The spans of a line always add up to the line; any text is
accepted.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from hostlink.listing.rules import Language

SpanKind = Literal["quoted", "remark", "word", "name", "number", "blank", "symbol"]


@dataclass(frozen=True, slots=True)
class Span:
    """A piece of a line.

    kind: "quoted" (with its quotes; up to the end of the line if not closed), "remark" (the text
        after a remark word), "word" (a keyword, also written `GO TO` or abbreviated), "name",
        "number", "blank" or "symbol".
    start: index of its first character, from 0. word: the whole keyword in capitals, or "".
    """

    kind: SpanKind
    start: int
    text: str
    word: str = ""

    @property
    def end(self) -> int:
        """Return the index after the last character."""
        return self.start + len(self.text)


@dataclass(frozen=True, slots=True)
class _Scanner:
    """The scanning tables of a language, computed once."""

    pattern: re.Pattern[str]
    table: tuple[str, ...]
    remarks: frozenset[str]


def keywords(language: Language) -> tuple[str, ...]:
    """Return all keywords of a language in capitals, without inner blanks, in table order.

    ELSE is added if the language has THEN, since it may be followed by a line number as well.
    """
    found = [*language.statements, *language.functions, *language.jumps, *language.remarks]
    words = [word.upper().replace(" ", "") for word in found if word.strip()]
    if "THEN" in words:
        words.append("ELSE")
    return tuple(dict.fromkeys(words))


def has_word(language: Language, word: str) -> bool:
    """Return whether a language has a word; ELSE only if its own words say so."""
    return word in keywords(language) and (word != "ELSE" or word in language.statements)


def _word_pattern(word: str, long_names: bool) -> str:
    """Return a pattern for a keyword; GOTO and GOSUB may hold blanks (ECMA-55, section 12)."""
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
    never = r"(?!)"
    inside = "[0-9]"
    if language.long_names:
        inside = "[A-Z0-9_]"
    elif "names" in language.means:  # a keyword ends a name
        inside = f"(?:(?!{words or never})[A-Z0-9])"
    name = f"[A-Z]{inside}*[$%]?"
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
    """Return the first keyword of the table that matches an abbreviation, or ""."""
    start = short[: -len(mark)].upper()
    return next((word for word in scanner.table if word.startswith(start)), "")


def _begins(spans: list[Span], language: Language) -> bool:
    """Return whether a statement begins after spans; a mark that may quote is a remark there."""
    before = next((span.text for span in reversed(spans) if span.kind != "blank"), "")
    return before in ("", language.separator)


@lru_cache(maxsize=8_192)
def scan(text: str, language: Language) -> tuple[Span, ...]:
    """Split the text of a line, without its line number, into spans. Never raises.

    Results are cached: when a listing is reviewed again, most of its lines are unchanged.
    """
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
        elif kind == "quoted" and piece[0] in scanner.remarks and _begins(spans, language):
            kind, piece, word = "word", piece[0], piece[0]
        spans.append(Span(kind, at, piece, word))  # type: ignore[arg-type]
        at += len(piece)
        if word in scanner.remarks and at < len(text):
            spans.append(Span("remark", at, text[at:]))
            break
    return tuple(spans)
