"""Check a single line: keywords, numbers, quotes, brackets, and the width of its text."""

from __future__ import annotations

import re
import sys
from collections.abc import Collection, Iterator, Sequence

from hostlink.listing.finding import STRANGE_WORD, Finding, at_place
from hostlink.listing.parse import Line
from hostlink.listing.reading import Reader, is_open
from hostlink.listing.reviewing.pins import pin_findings
from hostlink.listing.reviewing.references import references
from hostlink.listing.rules import Language, Rules
from hostlink.listing.tokens import Span, keywords
from hostlink.words import nearest

_LETTERS = re.compile(r"[A-Za-z]+")
_BEGINS = frozenset(("THEN", "ELSE"))
_NEVER_FIRST = frozenset(("TO", "STEP", "THEN"))
# ECMA-55, section 5.4 (from memory): numbers up to at least 1E38. No board exceeds the largest
# number of IEEE 754 in 64 bits.
_CERTAIN, _LARGEST = 1e38, sys.float_info.max
_HOLDS_VALUES = frozenset(
    (
        *("LET", "PRINT", "INPUT", "READ", "IF", "THEN", "ELSE", "GOTO", "GOSUB", "ON", "FOR"),
        *("TO", "STEP", "NEXT", "RETURN", "END", "STOP"),
    )
)


def check_line(line: Line, reader: Reader, rules: Rules) -> Iterator[Finding]:
    """Yield findings about one line."""
    spans = reader.spans(line.text)
    if any(span.word == "DATA" for span in spans):
        return
    if is_open(spans):
        yield at_place(
            *(line, spans[-1].start, "open-quote"),
            "The quoted text is not closed.",
            f"Put {spans[-1].text[0]} at its end; some boards refuse the line without it.",
        )
    statements = reader.statements(line.text)
    for statement in statements:
        yield from _brackets(line, statement)
        yield from _width(line, statement, rules.form.screen_width)
        yield from pin_findings(line, statement, rules.language.pins)
    yield from _numbers(line, spans, rules.language)
    if rules.language.statements:
        yield from _words(line, statements, reader)


def misspelt(line: Line, reader: Reader, others: Collection[str]) -> tuple[str, str] | None:
    """Return the first word of a line that its BASIC lacks, and the known word that it resembles.

    None if there is none, or if it is one of `others`, the words of other BASICs.
    """
    for statement in reader.statements(line.text):
        for _, word in _unknown(line.text, statement, reader.language):
            near = nearest(word, keywords(reader.language), 1)
            if near and word.upper() not in others:
                return word, near[0]
            break
    return None


def _brackets(line: Line, statement: Sequence[Span]) -> Iterator[Finding]:
    opened: list[int] = []
    for span in statement:
        if span.kind in ("symbol", "word") and span.text.endswith("("):
            opened.append(span.start)
        elif span.text == ")":
            if not opened:
                yield _unbalanced(line, span.start, "closes no open bracket")
                return
            opened.pop()
    if opened:
        yield _unbalanced(line, opened[-1], "is not closed")


def _unbalanced(line: Line, start: int, what: str) -> Finding:
    return at_place(
        *(line, start, "unbalanced-bracket"),
        f"The bracket {what}.",
        "Add the matching bracket, or remove it.",
        "error",
    )


def _width(line: Line, statement: Sequence[Span], width: int) -> Iterator[Finding]:
    """Yield a finding if text that one PRINT joins is wider than the screen (columns)."""
    if not width or statement[0].word != "PRINT":
        return
    wide, start = 0, 0
    for span in statement[1:]:
        if span.kind == "quoted":
            start = start or span.start
            closed = len(span.text) > 1 and span.text[-1] == span.text[0]
            wide += len(span.text) - (2 if closed else 1)
        elif span.text != ";":
            wide, start = 0, 0
        if wide > width:
            yield at_place(
                *(line, start, "wraps-on-screen"),
                f"The text is {wide} columns wide, and the board's screen only {width}.",
                "Shorten it, or print it in two parts.",
            )
            return


def _numbers(line: Line, spans: Sequence[Span], language: Language) -> Iterator[Finding]:
    targets = {reference.start for reference in references(line.text, language)}
    solid = [span for span in spans if span.kind != "blank"]
    for place, span in enumerate(solid):
        if span.kind != "number" or span.start in targets:
            continue
        negative = place > 0 and solid[place - 1].text == "-"
        yield from _number(line, span, language, negative=negative)


def _number(line: Line, span: Span, language: Language, *, negative: bool) -> Iterator[Finding]:
    """Yield findings about one number that is not a line number."""
    value, shown = _value(span.text), span.text[:20]
    if language.fractions:
        if value > _CERTAIN:
            yield at_place(
                *(line, span.start, "number-out-of-range"),
                f"{shown} is larger than 1E38, the limit of the standard.",
                "Use a smaller number.",
                "error" if value > _LARGEST else "warning",
            )
    elif value > (-language.smallest_number if negative else language.largest_number):
        yield at_place(
            *(line, span.start, "number-out-of-range"),
            f"{shown} is outside {language.smallest_number:,} to {language.largest_number:,}.",
            "Use a smaller number.",
            "error",
        )
    elif not span.text.isdecimal():
        yield at_place(
            *(line, span.start, "number-with-fraction"),
            f"{shown} has a fraction or an exponent; this board knows whole numbers only.",
            "Work with whole numbers, such as cents for money.",
        )


def _value(digits: str) -> float:
    """Return the value of a number as written; infinity for one of 40 digits or more."""
    if digits.isdecimal():
        return int(digits) if len(digits) < 40 else float("inf")
    return float(digits)


def _words(line: Line, statements: Sequence[Sequence[Span]], reader: Reader) -> Iterator[Finding]:
    language = reader.language
    for statement in statements:
        for start, word in _unknown(line.text, statement, language):
            near = nearest(word, keywords(language), 1)
            advice = f"Nearest known: {near[0]}." if near else STRANGE_WORD
            known = f"This board's BASIC has no {word[:20]}, as far as hostlink knows."
            if word[:1].isdigit() or word[:1] == '"':
                known = f"No statement begins with {word[:20]}."
                advice = "Remove it, or put the missing word before it."
            yield at_place(*(line, start, "unknown-word"), known, advice)
            break  # the text after an unknown word can only be guessed


def _unknown(text: str, statement: Sequence[Span], language: Language) -> Iterator[tuple[int, str]]:
    """Yield (index in the text, word) for words that the profile does not know."""
    conditional = any(span.word == "IF" for span in statement)
    functions = {word.upper() for word in language.functions}
    for place, span in enumerate(statement):
        if span.kind == "remark" or (span.word and span.word not in functions | _HOLDS_VALUES):
            return  # a board's own statement may be followed by anything
        after = statement[place + 1] if place + 1 < len(statement) else None
        begins = place == 0 or statement[place - 1].word in _BEGINS
        if span.kind == "name":
            assigns = after is not None and after.text in ("=", "(")
            if begins and not assigns:
                yield _whole_word(text, span.start)
            elif language.long_names:
                continue
            elif "DEF" in language.statements and text[span.start : span.end + 1].upper() == "FN":
                return  # a function that the program defines
            elif after is not None and after.kind == "name" and after.start == span.end:
                third = statement[place + 2] if place + 2 < len(statement) else None
                if conditional and third is not None and third.text == "=":
                    continue  # IF A=BC=1, a condition and then an assignment, without THEN
                yield _whole_word(text, span.start)
        elif begins and span.word in _NEVER_FIRST:
            yield _whole_word(text, span.start)
        elif begins and span.kind == "symbol" and span.text != "@":
            yield span.start, span.text
        elif begins and span.kind in ("number", "quoted") and place == 0:
            yield span.start, span.text[:12]


def _whole_word(text: str, start: int) -> tuple[int, str]:
    """Return the start and text of the letters around an index: TOOT, not TO and OT."""
    run = next((m for m in _LETTERS.finditer(text) if m.start() <= start < m.end()), None)
    return (run.start(), run[0]) if run else (start, text[start])
