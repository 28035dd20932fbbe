"""Shorten a statement by assigning a part of its expression to a spare variable."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from hostlink.listing.adapting.clauses import PRINT_WORDS, RELATIONS, Clause, depths
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span

_LETTERS = "VWXYZUTSRQPONMLKJIHGFEDCBA"


def spare_names(names: Iterable[str]) -> list[str]:
    """Return the letters that no variable of a listing begins with."""
    used = {name[:1].upper() for name in names}
    return [letter for letter in _LETTERS if letter not in used]


def assigned(name: str, value: str, language: Language) -> Clause:
    """Return the assignment of a value to a variable, with LET if the language needs it."""
    word = "" if "LET" in language.optional else "LET "
    return Clause(f"{word}{name}={value}")


def hoisted(clause: Clause, language: Language, spare: str) -> list[Clause]:
    """Divide a statement into an assignment and a shorter rest; return it alone if that fails.

    The first terms of its longest expression go to the spare variable; an expression of one term
    goes there whole. What is left may be hoisted again.
    """
    spans = clause.spans(language)
    first, end = _expression(clause, spans)
    outside = [*spans[:first], *spans[end:]]
    used = any(span.text == spare for span in outside)
    rolls = any(span.word == "RND" for span in outside)
    if not spare or used or rolls or end - first < 2:
        return [clause]
    cut = _middle_sign(spans, first, end)
    if cut < 0:
        if _assigns(spans):
            return [clause]
        cut = end
    value = clause.text[spans[first].start : spans[cut - 1].end]
    if value == spare:
        return [clause]
    rest = clause.text[: spans[first].start] + spare + clause.text[spans[cut - 1].end :]
    before = assigned(spare, value, language)
    return [Clause(before.text, clause.gap), clause.with_text(rest)]


def _assigns(spans: Sequence[Span]) -> bool:
    names = spans[1:] if spans[0].word == "LET" else spans
    return len(names) > 2 and names[0].kind == "name" and names[1].text == "="


def _expression(clause: Clause, spans: Sequence[Span]) -> tuple[int, int]:
    """Return the start and end of the longest expression of a clause, as indexes of its spans."""
    if not spans:
        return 0, 0
    word = spans[0].word
    if clause.condition:
        cuts = [at for at, depth in depths(spans) if depth == 0 and spans[at].text in RELATIONS]
        if not cuts:
            return 0, 0
        sides = (1, cuts[0]), (cuts[-1] + 1, len(spans))
        return max(sides, key=lambda side: sum(len(s.text) for s in spans[side[0] : side[1]]))
    if word == "ON":
        jumps = (at for at, span in enumerate(spans) if span.word in ("GOTO", "GOSUB"))
        return 1, next(jumps, 0)  # none in ON ERROR of other BASICs
    if word in PRINT_WORDS:
        plain = all(spans[at].text not in (";", ",") or depth for at, depth in depths(spans))
        return (1, len(spans)) if plain and spans[-1].kind != "quoted" else (0, 0)
    if _assigns(spans):
        return (3 if word == "LET" else 2), len(spans)
    return 0, 0


def _middle_sign(spans: Sequence[Span], first: int, end: int) -> int:
    """Return the index of the + or - nearest to the middle of an expression, or -1."""
    binary = [
        at
        for at, depth in depths(spans)
        if first < at < end
        and depth == 0
        and spans[at].text in ("+", "-")
        and (spans[at - 1].kind in ("name", "number") or spans[at - 1].text == ")")
    ]
    middle = (spans[first].start + spans[end - 1].end) / 2
    return min(binary, key=lambda at: abs(spans[at].start - middle), default=-1)
