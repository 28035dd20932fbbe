"""Rules for words and symbols: THEN, LET, shortcuts, symbols for unequal, quotes."""

from __future__ import annotations

from dataclasses import replace

from hostlink.listing.adapting.clauses import Clause, begins_item, call_end
from hostlink.listing.adapting.rewriting import COMPARISON_NEEDED, Pair, Rewrite, rewrites
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, keywords

_SAME = {"?": "PRINT", "'": "REM", "!": "REM", "END": "STOP", "STOP": "END"}
"""Words of one meaning. The second replaces the first if the board does not know it; END replaces
STOP in any case, because STOP prints a row of its own on some boards."""


@rewrites("then-dropped", "IF A=1 THEN PRINT A", "IF A=1 PRINT A", "this board has no THEN")
def _then_dropped(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    if clause.condition and clause.then and pair.target.then_takes == "none":
        return [replace(clause, then=False)]
    return None


@rewrites("then-added", "IF A=1 PRINT A", "IF A=1 THEN PRINT A", "this board needs THEN after IF")
def _then_added(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    needed = needs_then(pair.target) and not needs_then(pair.source)
    return [replace(clause, then=True)] if clause.condition and not clause.then and needed else None


def needs_then(language: Language) -> bool:
    """Return whether THEN must stand between a condition and a statement."""
    return language.then_takes != "none" and "THEN" not in language.optional


@rewrites("goto-spelled", "IF A THEN 90", "IF A GOTO 90", "a line number needs GOTO before it")
def _goto_spelled(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    if clause.bare and pair.target.then_takes in ("none", "statement"):
        return [replace(clause, bare=False)]
    return None


@rewrites("goto-dropped", "IF A THEN GOTO 90", "IF A THEN 90", "GOTO cannot follow THEN")
def _goto_dropped(clause: Clause, before: Clause | None, pair: Pair) -> list[Clause] | None:
    if before is None or not before.condition or clause.bare or pair.target.then_takes != "line":
        return None
    spans = clause.spans(pair.source)
    plain = len(spans) == 2 and spans[0].word == "GOTO" and spans[1].text.isdecimal()
    return [replace(clause, text=f"GOTO {spans[1].text}", bare=True)] if plain else None


@rewrites("spelled", "? A", "PRINT A", "a word that means the same on both boards")
def _spelled(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    known, mark = keywords(pair.target), pair.source.abbreviation_mark

    def new(span: Span) -> str:
        word = span.word
        if word not in known or (word == "STOP" and pair.source != pair.target):
            word = _SAME.get(word, "")
        elif mark in ("", pair.target.abbreviation_mark) or not span.text.endswith(mark):
            word = ""
        if word not in known:
            return span.text
        apart = span.end < len(clause.text) and clause.text[span.end] != " " and word.isalpha()
        return word + " " * (apart and span.text != word)

    return clause.respelled(pair.source, new)


@rewrites("capitals", "let a=5", "LET A=5", "this board takes words and names in capitals only")
def _capitals(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    if pair.source.capitals_only or not pair.target.capitals_only:
        return None
    kept = ("quoted", "remark")
    return clause.respelled(pair.both, lambda s: s.text if s.kind in kept else s.text.upper())


@rewrites("signs", "IF A><B END", "IF A<>B END", "the comparison is written with another sign")
def _signs(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    source, target = pair.source, pair.target
    new = {sign: target.unequal[0] for sign in source.unequal if sign not in target.unequal}
    if source.at_least != target.at_least:
        new |= dict.fromkeys((">=", "=>"), target.at_least)
    spans = clause.spans(source)
    text, at = "", 0
    for place, span in enumerate(spans):
        joined = "".join(each.text for each in spans[place : place + 2])
        found = next((sign for sign in new if joined.startswith(sign)), "")
        plain = span.kind in ("symbol", "word") and span.start >= at
        if found and plain and not begins_item(spans, place):
            text += clause.text[at : span.start] + new[found]
            at = spans[place + len(found) - 1].end
    text += clause.text[at:]
    return None if text == clause.text else [clause.with_text(text)]


@rewrites("names", "AB=4", "V=4", "names must be shorter on this board")
def _names(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """Cut a longer variable name to the characters that count, or use a free letter."""
    longest = pair.target.longest_name

    def new(span: Span) -> str:
        if span.kind != "name":
            return span.text
        mark = span.text[len(span.text.rstrip("$")) :]
        name = span.text.removesuffix(mark)[: longest or None]
        return name + mark if mark else dict(pair.renamed).get(name[:2].upper(), name)

    return clause.respelled(pair.source, new)


@rewrites("let-added", "A=4", "LET A=4", "an assignment needs LET")
def _let_added(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    needed = "LET" in pair.source.optional and "LET" not in pair.target.optional
    if not needed or clause.condition or "LET" not in keywords(pair.target):
        return None
    spans = clause.spans(pair.source)
    assigns = spans and spans[0].kind == "name" and any(span.text == "=" for span in spans)
    return [clause.with_text(f"LET {clause.text}")] if assigns else None


@rewrites("let-dropped", "LET A=4", "A=4", "this board has no LET")
def _let_dropped(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    if "LET" in keywords(pair.target):
        return None
    spans = clause.spans(pair.source)
    if len(spans) < 2 or spans[0].word != "LET":
        return None
    return [clause.with_text(clause.text[spans[1].start :])]


@rewrites("statement-separator", "A=1;B=2", "A=1:B=2", "statements are separated by another sign")
def _statement_separator(clause: Clause, before: Clause | None, pair: Pair) -> list[Clause] | None:
    source, target = pair.source.separator, pair.target.separator
    if before is None or before.condition or source == target or not (source and target):
        return None
    return [replace(clause, gap=clause.gap.replace(source, target))]


@rewrites("quotes", "PRINT 'A'", 'PRINT "A"', "text is in other quotation marks on this board")
def _quotes(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    marks = pair.target.quotes

    def new(span: Span) -> str:
        text = span.text
        if span.kind != "quoted" or text[0] in marks or not marks or marks[0] in text:
            return text
        return marks[0] + text[1:].removesuffix(text[0]) + marks[0]

    return clause.respelled(pair.source, new)


@rewrites("bare-condition", "IF A THEN 90", "IF A<>0 THEN 90", COMPARISON_NEEDED)
def _bare_condition(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    if not clause.condition or pair.target.comparison or not pair.source.comparison:
        return None
    if any(span.text in "<>=#" and span.kind == "symbol" for span in clause.spans(pair.source)):
        return None
    return [clause.with_text(f"{clause.text}{pair.target.unequal[0]}0")]


@rewrites("free-memory", "A=ROOM()", "A=SIZE", "the free memory has another name")
def _free_memory(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    source, target = pair.source.free, pair.target.free
    if not source or not target or source == target:
        return None
    spans = clause.spans(pair.source)
    new: dict[int, str] = {}
    for place, span in enumerate(spans):
        if span.word == source.partition("(")[0]:
            end = call_end(spans, place) if "(" in source else place
            new |= dict.fromkeys((each.start for each in spans[place + 1 : end + 1]), "")
            new[span.start] = target
    return clause.respelled(pair.source, lambda span: new.get(span.start, span.text))


WORDS: tuple[Rewrite, ...] = (
    _then_dropped,
    _then_added,
    _goto_spelled,
    _goto_dropped,
    _bare_condition,
    _spelled,
    _capitals,
    _signs,
    _names,
    _let_added,
    _let_dropped,
    _statement_separator,
    _quotes,
    _free_memory,
)
"""The rules for words and signs, in the order in which they are tried."""
