"""Remove insignificant blanks, without which the board reads the line in the same way.

Quoted text, remarks and the text after DATA are kept, and so are blanks inside a keyword or a
relation symbol (ECMA-55, section 5.4, forbids them, so a board may read `< >` and `<>` differently)
and one blank between two names or numbers. If the board needs blanks around keywords, those are
kept too.
"""

from __future__ import annotations

from hostlink.listing.reading import Reader, is_open
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span

_RELATION = frozenset("<>=")
_PLAIN = frozenset(("name", "number"))
_SIGNS = frozenset("()+-*/^=<>,;:\"'")
"""Symbols around which no BASIC needs blanks; blanks next to other symbols are kept."""


def closed_up(text: str, reader: Reader) -> str:
    """Return the text of a line without insignificant blanks."""
    spans = reader.spans(text)
    data = next((at for at, span in enumerate(spans) if span.word == "DATA"), len(spans))
    fewer = {
        place: (needed, " ")
        for place, span in enumerate(spans[:data])
        if span.kind == "blank"
        and len(needed := _needed(spans, place, reader.language)) < len(span.text)
    }
    if not fewer or is_open(spans):
        return text
    return reader.with_pieces([span.text for span in spans], fewer)


def _needed(spans: tuple[Span, ...], place: int, language: Language) -> str:
    """Return the blanks to keep at an index of the spans."""
    if place == 0 or place == len(spans) - 1:
        return ""
    before, after = spans[place - 1], spans[place + 1]
    if before.text[-1:] in _RELATION and after.text[:1] in _RELATION:
        return spans[place].text
    if before.kind in _PLAIN and after.kind in _PLAIN:
        return " "
    if any(span.kind == "symbol" and span.text not in _SIGNS for span in (before, after)):
        return spans[place].text
    if before.kind == "number" and after.text[:1] in "Ee":
        return " "  # the board might read an exponent
    touching = before.text[-1:].isalnum() and after.text[:1].isalnum()
    if language.long_names and touching:
        return " "
    functions = {word.upper() for word in language.functions}
    keyword = any(span.kind == "word" and span.word not in functions for span in (before, after))
    return " " if language.words_apart and keyword else ""
