"""Find the variables and expressions of a listing that are never negative."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from hostlink.listing.adapting.clauses import RELATIONS, call_end, clauses
from hostlink.listing.parse import Line
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, scan


def is_positive(spans: Sequence[Span], positive: frozenset[str]) -> bool:
    """Return whether an expression is never negative. positive: the variables that never are."""
    skipped = -1
    for place, span in enumerate(spans):
        if place > skipped and span.word in ("ABS", "RND"):
            skipped = call_end(spans, place)
        elif place > skipped and not _keeps_positive(span, positive):
            return False
    return bool(spans)


def _keeps_positive(span: Span, positive: frozenset[str]) -> bool:
    if span.kind == "name":
        return span.text.upper() in positive
    return span.word in ("", "INT") and span.text != "-" and span.text not in RELATIONS


def positive_variables(held: Mapping[int, Line], language: Language) -> frozenset[str]:
    """Return the variables whose values are never negative."""
    if language.overflow == "wraps":
        return frozenset()
    spans = (span for line in held.values() for span in scan(line.text, language))
    found = frozenset(span.text.upper() for span in spans if span.kind == "name")
    parts = [part for line in held.values() for part in clauses(line.text, language)]
    given = [each for part in parts for each in _given(part.spans(language))]
    while negative := {name for name, value in given if not is_positive(value, found)} & found:
        found -= negative
    return found


def _given(spans: Sequence[Span]) -> Iterator[tuple[str, Sequence[Span]]]:
    """Yield the variables that a statement sets, each with its value, () if it may be anything."""
    word = spans[0].word if spans else ""
    if word in ("INPUT", "READ"):
        yield from ((span.text.upper(), ()) for span in spans if span.kind == "name")
        return
    names = spans[word in ("LET", "FOR") :]
    if len(names) < 3 or names[0].kind != "name" or names[1].text != "=":
        return
    ends = [at for at, span in enumerate(names) if span.word in ("TO", "STEP")]
    for start, end in zip((1, *ends), (*ends, len(names)), strict=True):
        yield names[0].text.upper(), names[start + 1 : end]
