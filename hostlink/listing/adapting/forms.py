"""The forms that occur in a listing of unknown origin, and which BASICs take them all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from hostlink.dialect import MEANS
from hostlink.listing.adapting.clauses import (
    PRINT_WORDS,
    Clause,
    clauses,
    is_relation,
    valued_comparisons,
)
from hostlink.listing.adapting.printing import listed
from hostlink.listing.adapting.rewriting import COMPARISON_AS_NUMBER
from hostlink.listing.adapting.words import needs_then
from hostlink.listing.parse import Listing
from hostlink.listing.reviewing.references import references
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, has_word, keywords

Taken = Callable[[Language], bool]


@dataclass(frozen=True, slots=True)
class FoundForm:
    """A form that occurs in a listing. what: its name. lines: where. taken: who takes it."""

    what: str
    lines: tuple[int, ...]
    taken: Taken


@dataclass(frozen=True, slots=True)
class Guess:
    """Where a listing seems to come from.

    names: the kinds that take all its forms, the likeliest first; empty if none does. forms: what
    speaks for them, the forms that some known kind does not take. disputed: the forms that mean
    another thing on another of the kinds, none if it may be for the target itself.
    """

    names: tuple[str, ...]
    forms: tuple[FoundForm, ...]
    disputed: tuple[FoundForm, ...] = ()


_QUOTIENT = "/ for division"
_COMMA = ", between the items of PRINT"
_SIDE_BY_SIDE = "; between numbers"
_MEANINGS: dict[str, Callable[[Language], object]] = {
    "the word RND": lambda language: language.random,
    _QUOTIENT: lambda language: language.fractions,
    _COMMA: lambda language: language.comma_columns > 0,
    _SIDE_BY_SIDE: lambda language: language.number == "bare",
    COMPARISON_AS_NUMBER: lambda language: language.comparison,
}
"""What the forms mean that many kinds take, each in its own way."""


def guess(
    listing: Listing,
    known: Mapping[str, Language],
    target: str = "",
    runnable: Collection[str] = (),
    errors: Mapping[str, int] = MappingProxyType({}),
) -> Guess:
    """Guess for which of the known kinds a listing was written.

    known: languages by name. errors: those that a review for a kind finds, none if not named. Of
    the kinds with the fewest errors that take all its forms the target comes first, then those
    that are runnable, then the one with the fewest words, not counting those for pins.
    """
    found = forms(listing, tuple(known.values()))
    taking = [
        name for name, language in known.items() if all(form.taken(language) for form in found)
    ]
    fewest = min((errors.get(name, 0) for name in taking), default=0)
    taking = [name for name in taking if errors.get(name, 0) == fewest]
    words = {name: len(keywords(known[name])) - len(known[name].pins.forms) for name in taking}
    taking.sort(key=lambda name: (name != target, name not in runnable, words[name]))
    telling = (form for form in found if not all(map(form.taken, known.values())))
    disputed = (
        form
        for form in found
        if (means := _MEANINGS.get(form.what)) and len({means(known[name]) for name in taking}) > 1
    )
    return Guess(tuple(taking), tuple(telling), () if taking[:1] == [target] else tuple(disputed))


def forms(listing: Listing, known: Collection[Language]) -> tuple[FoundForm, ...]:
    """Return the forms in the numbered lines of a listing, in the order in which they occur.

    known: the languages whose words are looked for.
    """
    language = _common(known)
    found: dict[str, tuple[Taken, dict[int, None]]] = {}
    for number, line in listing.numbered().items():
        parts = clauses(line.text, language)
        for what, taken in (*_line_forms(parts), *_parts_forms(parts, language)):
            found.setdefault(what, (taken, {}))[1][number] = None
        if any(each.target is None for each in references(line.text, language)):
            computed = found.setdefault(
                "a jump to a computed line", (lambda each: each.computed_jumps, {})
            )
            computed[1][number] = None
    return tuple(FoundForm(what, tuple(lines), taken) for what, (taken, lines) in found.items())


def _common(known: Collection[Language]) -> Language:
    """Return a language with the words of all, by which a listing of any of them can be read."""
    functions = tuple(dict.fromkeys(name for each in known for name in each.functions))
    words = [word for each in known for word in keywords(each) if word[0].isalpha() or word == "?"]
    jumps = tuple(dict.fromkeys(jump for each in known for jump in each.jumps))
    return replace(
        Language(),
        statements=tuple(dict.fromkeys(words)),
        functions=functions,
        jumps=jumps,
        separator=":",
        quotes="\"'",
        means=tuple(MEANS),
    )


def _line_forms(parts: list[Clause]) -> Iterator[tuple[str, Taken]]:
    """Find the forms that a line has as a whole."""
    for at, (part, after) in enumerate(zip(parts, (*parts[1:], None), strict=True)):
        if at and not parts[at - 1].condition:
            yield "statements with : between them", lambda language: language.separator == ":"
        if part.condition and not part.then:
            yield "IF without THEN", lambda language: not needs_then(language)
        elif part.condition and after is not None and after.bare:
            yield (
                "THEN with a line number",
                lambda language: language.then_takes in ("both", "line"),
            )
        elif part.condition and after is not None:
            yield (
                "THEN with a statement",
                lambda language: language.then_takes in ("both", "statement"),
            )


def _parts_forms(parts: list[Clause], language: Language) -> Iterator[tuple[str, Taken]]:
    for at, part in enumerate(parts):
        spans = part.spans(language)
        if not spans:
            continue
        if valued_comparisons(part, language):
            yield COMPARISON_AS_NUMBER, lambda taking: bool(taking.comparison)
        if part.condition and not any(map(is_relation, spans)):
            yield "IF without a comparison", lambda taking: bool(taking.comparison)
        if spans[0].kind == "name" and any(span.text == "=" for span in spans):
            yield "an assignment without LET", lambda taking: "LET" in taking.optional
        if spans[0].word and at + 1 < len(parts):
            yield _behind(spans[0].word)
        if spans[0].word == "INPUT" and any(span.kind == "quoted" for span in spans):
            yield _mean("input-text")
        if listed(part, language):
            yield "several variables in INPUT", lambda taking: taking.input_list != "none"
        for place, span in enumerate(spans):
            yield from _span_forms(spans, place, span)


def _behind(word: str) -> tuple[str, Taken]:
    return (
        f"statements behind {word} in one line",
        lambda language: bool(language.separator) and word not in language.ends_line,
    )


def _mean(name: str) -> tuple[str, Taken]:
    return MEANS[name], lambda language: name in language.means


def _span_forms(spans: list[Span], place: int, span: Span) -> Iterator[tuple[str, Taken]]:
    before = spans[place - 1].text if place else ""
    after = spans[place + 1] if place + 1 < len(spans) else None
    if span.word and span.word not in ("TO", "STEP"):
        word = span.word
        yield f"the word {word}", lambda language: has_word(language, word)
    elif span.kind == "quoted" and span.text[0] == "'":
        yield (
            "an apostrophe that opens text",
            lambda language: "'" in (*language.quotes, *language.remarks),
        )
    elif span.text[0] == "." and place and spans[place - 1].kind == "name":
        yield "words shortened by a point", lambda language: language.abbreviation_mark == "."
    elif span.kind == "number" and not span.text.isdecimal():
        yield "numbers with a fraction", lambda language: language.fractions
    elif span.kind == "number":
        number = int(span.text[:19])
        if number > 32767:
            yield "numbers above 32,767", lambda language: number <= language.largest_number
    elif span.kind == "name":
        yield from _name_forms(span, before, after)
    elif span.text == ";":
        yield _semicolon(spans, place)
        if spans[0].word in PRINT_WORDS and _is_number(spans[place - 1]) and _is_number(after):
            yield _SIDE_BY_SIDE, lambda _: True
    elif span.text == "^":
        yield "^ for powers", lambda language: language.powers
    elif span.text == "/":
        yield _QUOTIENT, lambda _: True
    elif span.text == "," and spans[0].word in ("PRINT", "?") and _depth(spans[:place]) == 0:
        yield _COMMA, lambda _: True
    elif (sign := before + span.text) in ("<>", "><", "!="):
        yield f"{sign} for unequal", lambda language: sign in language.unequal
    elif span.text == "#" and place:
        yield "# for unequal", lambda language: "#" in language.unequal


def _is_number(span: Span | None) -> bool:
    """Return whether a span next to a separator is of a number."""
    return span is not None and span.kind != "quoted" and span.text[-1] not in "$,;?"


def _depth(spans: Iterable[Span]) -> int:
    """Return how many brackets are open behind the spans."""
    return sum((span.text == "(") - (span.text == ")") for span in spans)


def _name_forms(span: Span, before: str, after: Span | None) -> Iterator[tuple[str, Taken]]:
    if span.text.endswith("$"):
        yield _mean("strings")
    if (length := len(span.text.rstrip("$%"))) > 1:
        yield _mean("names")
    if length > 2:
        yield "names of more than two letters", lambda language: language.longest_name != 2
    if after is not None and after.text == "(" and before != "FN":
        yield _mean("arrays")


def _semicolon(spans: list[Span], place: int) -> tuple[str, Taken]:
    """Return what a semicolon is: between statements, or of a PRINT."""
    rest = spans[place + 1 :]
    assigns = len(rest) > 1 and rest[0].kind == "name" and rest[1].text == "="
    functions = ("ABS", "RND", "SIZE")
    begins = bool(rest) and bool(rest[0].word) and rest[0].word not in functions
    if spans[0].word not in ("INPUT", *PRINT_WORDS) or assigns or begins:
        return "; between statements", lambda language: language.separator == ";"
    if rest:
        return "; between the items of PRINT", lambda language: language.semicolon == "joins"
    return "; at the end of PRINT", lambda language: language.semicolon != "none"
