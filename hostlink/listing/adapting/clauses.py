"""Divide a line of BASIC into clauses: statements, and the conditions of IF before them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from hostlink.listing.reading import join_pieces, solid
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, scan

PRINT_WORDS = ("PRINT", "?")
RELATIONS = frozenset("<>=#!")
_OPERATORS = frozenset("+-*/^%") | RELATIONS
_OPERATOR_WORDS = ("AND", "OR", "MOD")


@lru_cache(maxsize=64)
def with_operators(language: Language) -> Language:
    """Return a language that also reads the operators and the ON of other BASICs as words."""
    words = (*language.statements, *_OPERATOR_WORDS, "ON")
    return replace(language, statements=tuple(dict.fromkeys(words)))


@dataclass(frozen=True, slots=True)
class Clause:
    """A statement, or IF with its condition.

    text: as written, without blanks around it. gap: what stood in front of it, a separator with its
    blanks. condition: whether it is an IF. then: whether the word THEN stood after it.
    bare: whether a GOTO was written as a line number alone, after THEN.
    last: whether nothing may stand after it in its line. ends: whether nothing stood there.
    """

    text: str
    gap: str = ""
    condition: bool = False
    then: bool = False
    bare: bool = False
    last: bool = False
    ends: bool = False

    @property
    def goes(self) -> bool:
        """Return whether the clause is only a jump to a line."""
        return self.text.startswith("GOTO ") and self.text[5:].isdecimal()

    def spans(self, language: Language) -> list[Span]:
        """Return the spans of the clause, without the blanks."""
        return solid(scan(self.text, language))

    def with_text(self, text: str) -> Clause:
        """Return the clause with another text."""
        return replace(self, text=text)

    def respelled(self, language: Language, new: Callable[[Span], str]) -> list[Clause] | None:
        """Return the clause with other text in its spans, or None if nothing changed."""
        text, at = "", 0
        for span in self.spans(language):
            text += self.text[at : span.start] + new(span)
            at = span.end
        text += self.text[at:]
        return None if text == self.text else [self.with_text(text)]

    def wrapped(
        self, language: Language, places: Iterable[tuple[int, int, str]]
    ) -> list[Clause] | None:
        """Return the clause with brackets around some of its spans, or None if nothing changed.

        places: for each, the first index, the index after the last, and the opening text ("INT(").
        """
        spans = self.spans(language)
        fronts: defaultdict[int, str] = defaultdict(str)
        ends: Counter[int] = Counter()
        for start, end, front in sorted(places, key=lambda place: -place[1]):
            fronts[spans[start].start] += front
            ends[spans[end - 1].start] += 1
        return self.respelled(
            language, lambda span: fronts[span.start] + span.text + ")" * ends[span.start]
        )


def clauses(text: str, language: Language) -> list[Clause]:
    """Return the clauses of a line's text, from which `line_text` makes the line again."""
    spans = scan(text, with_operators(language))
    found: list[Clause] = []
    start = at = 0
    while (at := _next_solid(spans, at)) < len(spans):
        if spans[at].word == "IF":
            first, end = at, condition_end(spans, at + 1, language)
            at = _next_solid(spans, end)
            then = at < len(spans) and spans[at].word == "THEN"
            content = solid(spans[first:end])
            found.append(_clause(text, start, content, condition=True, then=then))
            start = spans[at].end if then else content[-1].end
            at = _next_solid(spans, at + 1) if then else end
            if then and at < len(spans) and spans[at].kind == "number":
                end = condition_end(spans, at, language)
                target = text[spans[at].start : spans[end - 1].end]
                found.append(Clause(f"GOTO {target}", " ", bare=True))
                start, at = spans[end - 1].end, end
            continue
        last = at
        while last < len(spans) and not _separates(spans[last], language):
            last += 1
        if content := solid(spans[at:last]):
            made = _clause(text, start, content)
            found.append(replace(made, ends=last == len(spans)))
            start = content[-1].end
        at = last + 1
    return found


def _clause(
    text: str, start: int, content: list[Span], *, condition: bool = False, then: bool = False
) -> Clause:
    first, last = content[0], content[-1]
    gap = text[start : first.start]
    return Clause(text[first.start : last.end].rstrip(" "), gap, condition, then)


def _separates(span: Span, language: Language) -> bool:
    return bool(language.separator) and span.kind == "symbol" and span.text == language.separator


def _next_solid(spans: Sequence[Span], at: int) -> int:
    while at < len(spans) and spans[at].kind == "blank":
        at += 1
    return at


def condition_end(spans: Sequence[Span], at: int, language: Language) -> int:
    """Return the index after the expression that begins at an index of the spans.

    It ends where an operand is complete and no operator follows, and at a statement's word.
    """
    depth, complete, end = 0, False, at
    while (at := _next_solid(spans, at)) < len(spans):
        span = spans[at]
        operator = span.text in _OPERATORS or span.word in _OPERATOR_WORDS
        if operator or (span.text == "," and depth):
            complete = False
        elif span.text == "(":
            depth, complete = depth + 1, False
        elif span.text == ")" and depth:
            depth, complete = depth - 1, True
        elif (complete and depth == 0) or _is_no_operand(span, language):
            break
        else:
            complete = span.word != "NOT"
        at += 1
        end = at
    return end


def _is_no_operand(span: Span, language: Language) -> bool:
    if span.kind == "word":
        return span.word not in (*language.functions, "NOT")
    return span.kind == "remark" or (span.kind == "symbol" and span.text != "@")


def line_text(parts: Sequence[Clause], target: Language) -> str:
    """Return the text of a line with these clauses, for a board with the target language."""
    text = ""
    for before, part in zip((None, *parts), parts, strict=False):
        if before is None:
            text = part.text
        elif before.condition:
            written = part.text.removeprefix("GOTO ") if part.bare else part.text
            text = join_pieces(f"{text}{' THEN' if before.then else ''} ", written)
        else:
            text = f"{text}{part.gap or target.separator}{part.text}"
    return text


def call_end(spans: Sequence[Span], place: int) -> int:
    """Return the index of the bracket that ends the call at an index of the spans, or -1."""
    depth = 0
    for at in range(place + 1, len(spans)):
        depth += (spans[at].text == "(") - (spans[at].text == ")")
        if depth == 0:
            return at if spans[at].text == ")" else -1
    return -1


def depths(spans: Sequence[Span]) -> list[tuple[int, int]]:
    """Return the index of each span with the number of brackets that are open there."""
    depth, found = 0, []
    for at, span in enumerate(spans):
        depth -= span.text == ")"
        found.append((at, depth))
        depth += span.text == "("
    return found


def valued_comparisons(clause: Clause, language: Language) -> list[tuple[int, int]]:
    """Return the comparisons of a clause whose value is used, as indexes of its spans.

    Left out are the last relation of a condition, which only tests it, and the = of an assignment.
    """
    spans = clause.spans(language)
    assigns = bool(spans) and (spans[0].kind == "name" or spans[0].text == "@")
    assigns |= bool(spans) and spans[0].word in ("LET", "FOR", "DEF")
    inside = (*language.functions, "NOT", "MOD")
    found: list[tuple[int, int]] = []
    waiting: list[tuple[int, list[int]]] = [(0, [])]  # where an expression starts, and its signs

    def close(end: int) -> None:
        start, signs = waiting.pop()
        if signs and not waiting and clause.condition:
            end = signs.pop()
        elif signs and not waiting and assigns:
            start = signs.pop(0) + 1
        if signs:
            found.append((start, end))

    for at, span in enumerate(spans):
        if span.text == ")" and len(waiting) > 1:
            close(at)
        elif span.text in (",", ";") or (span.kind == "word" and span.word not in inside):
            close(at)
            waiting.append((at + 1, []))
            assigns &= span.word not in ("TO", "STEP")
        elif span.text.endswith("(") and span.kind != "quoted":
            waiting.append((at + 1, []))
        elif is_relation(span) and waiting[-1][0] < at and not is_relation(spans[at - 1]):
            waiting[-1][1].append(at)
    while waiting:
        close(len(spans))
    return found


def is_relation(span: Span) -> bool:
    """Return whether a span is a relation symbol, such as <, or a part of one."""
    return span.kind == "symbol" and span.text in RELATIONS


def begins_item(spans: Sequence[Span], place: int) -> bool:
    """Return whether an item of PRINT begins at an index of the spans; there # sets a width."""
    before = spans[place - 1] if place else spans[0]
    return before.text in (",", ";") or before.word in PRINT_WORDS
