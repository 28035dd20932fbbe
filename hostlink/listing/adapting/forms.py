"""Find the forms that occur in a listing of unknown origin, and the BASICs that take them all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from hostlink.dialect import MEANS
from hostlink.listing.adapting.clauses import (
    PRINT_WORDS,
    Clause,
    clauses,
    depths,
    is_relation,
    valued_comparisons,
)
from hostlink.listing.adapting.printing import input_names
from hostlink.listing.adapting.rewriting import COMPARISON_AS_NUMBER
from hostlink.listing.adapting.words import needs_then
from hostlink.listing.parse import Listing
from hostlink.listing.reviewing.references import references
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, has_word, keywords

Taken = Callable[[Language], bool]
_Form = tuple[str, Taken]


@dataclass(frozen=True, slots=True)
class FoundForm:
    """A form that occurs in a listing. what: its name. lines: where. taken: by which languages."""

    what: str
    lines: tuple[int, ...]
    taken: Taken


@dataclass(frozen=True, slots=True)
class Guess:
    """Where a listing seems to come from.

    names: the kinds that take all its forms, the likeliest first; empty if none does. forms: the
    evidence, which is the forms that some known kind does not take. disputed: the forms that do not
    mean the same on all these kinds; none if the listing may be for the target.
    """

    names: tuple[str, ...]
    forms: tuple[FoundForm, ...]
    disputed: tuple[FoundForm, ...] = ()


_COMPUTED: _Form = ("a jump to a computed line", lambda it: it.computed_jumps)
_THEN_LINE: _Form = ("THEN with a line number", lambda it: it.then_takes in ("both", "line"))
_THEN_WORD: _Form = ("THEN with a statement", lambda it: it.then_takes in ("both", "statement"))
_QUOTIENT = "/ for division"
_COMMA = ", between the items of PRINT"
_SIDE_BY_SIDE = "; between numbers"
_MEANINGS: dict[str, Callable[[Language], object]] = {
    "the word RND": lambda it: it.random,
    _QUOTIENT: lambda it: it.fractions,
    _COMMA: lambda it: it.comma_columns > 0,
    _SIDE_BY_SIDE: lambda it: it.number == "bare",
    COMPARISON_AS_NUMBER: lambda it: it.comparison,
}
"""The meaning, by language, of forms that many kinds take, but not in the same way."""


def guess_origin(
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
    found = forms_in(listing, tuple(known.values()))
    taking = [
        name for name, language in known.items() if all(form.taken(language) for form in found)
    ]
    fewest = min((errors.get(name, 0) for name in taking), default=0)
    taking = [name for name in taking if errors.get(name, 0) == fewest]
    words = {name: len(keywords(known[name])) - len(known[name].pins.forms) for name in taking}
    taking.sort(key=lambda name: (name != target, name not in runnable, words[name]))
    telling = (form for form in found if not all(map(form.taken, known.values())))
    meanings = ((form, _MEANINGS[form.what]) for form in found if form.what in _MEANINGS)
    doubts = [form for form, means in meanings if len({means(known[name]) for name in taking}) > 1]
    return Guess(tuple(taking), tuple(telling), () if taking[:1] == [target] else tuple(doubts))


def forms_in(listing: Listing, known: Collection[Language]) -> tuple[FoundForm, ...]:
    """Return the forms in the numbered lines of a listing, in the order in which they occur.

    known: the languages whose words are looked for.
    """
    language = common_language(known)
    found: dict[str, tuple[Taken, dict[int, None]]] = {}
    for number, line in listing.numbered().items():
        parts = clauses(line.text, language)
        computed = any(each.target is None for each in references(line.text, language))
        jumps = [_COMPUTED] if computed else []
        for what, taken in (*_parts_forms(parts, language), *jumps):
            found.setdefault(what, (taken, {}))[1][number] = None
    return tuple(FoundForm(what, tuple(lines), taken) for what, (taken, lines) in found.items())


def common_language(known: Collection[Language]) -> Language:
    """Return a language with the words of several, which reads a listing in any of them."""
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


def _parts_forms(parts: list[Clause], language: Language) -> Iterator[_Form]:
    """Find the forms of a line and of its parts."""
    for at, part in enumerate(parts):
        spans, after = part.spans(language), parts[at + 1] if at + 1 < len(parts) else None
        if at and not parts[at - 1].condition:
            yield "statements with : between them", lambda it: it.separator == ":"
        if part.condition and not part.then:
            yield "IF without THEN", lambda it: not needs_then(it)
        elif part.condition and after:
            yield _THEN_LINE if after.bare else _THEN_WORD
        if valued_comparisons(part, language):
            yield COMPARISON_AS_NUMBER, lambda it: bool(it.comparison)
        if part.condition and not any(map(is_relation, spans)):
            yield "IF without a comparison", lambda it: bool(it.comparison)
        if spans[0].kind == "name" and any(span.text == "=" for span in spans):
            yield "an assignment without LET", lambda it: "LET" in it.optional
        if spans[0].word and after:
            yield _after(spans[0].word)
        if spans[0].word == "INPUT" and any(span.kind == "quoted" for span in spans):
            yield _mean("input-text")
        if input_names(part, language):
            yield "several variables in INPUT", lambda it: it.input_list != "none"
        if spans[0].word == "DATA":
            spans = spans[:1]  # its text is not BASIC
        for place in range(len(spans)):
            yield from _span_forms(spans, place, language)


def _after(word: str) -> _Form:
    what = f"statements after {word} in one line"
    return what, lambda it: bool(it.separator) and word not in it.ends_line


def _mean(name: str) -> _Form:
    return MEANS[name], lambda it: name in it.means


def _span_forms(spans: list[Span], place: int, language: Language) -> Iterator[_Form]:
    span = spans[place]
    before = spans[place - 1].text if place else ""
    after = spans[place + 1] if place + 1 < len(spans) else None
    if span.word and span.word not in ("TO", "STEP"):
        word = span.word
        yield f"the word {word}", lambda it: has_word(it, word)
    elif span.kind == "quoted" and span.text[0] == "'":
        yield "an apostrophe that opens text", lambda it: "'" in (*it.quotes, *it.remarks)
    elif span.text[0] == "." and place and spans[place - 1].kind == "name":
        yield "words abbreviated with a full stop", lambda it: it.abbreviation_mark == "."
    elif span.kind == "number" and not span.text.isdecimal():
        yield "numbers with a fraction", lambda it: it.fractions
    elif span.kind == "number":
        number = int(span.text[:19])
        if number > 32767:
            yield "numbers above 32,767", lambda it: number <= it.largest_number
    elif span.kind == "name":
        yield from _name_forms(span, before, after)
    elif span.text == ";":
        yield _semicolon(spans, place, language)
        if spans[0].word in PRINT_WORDS and _is_number(spans[place - 1]) and _is_number(after):
            yield _SIDE_BY_SIDE, lambda _: True
    elif span.text == "^":
        yield "^ for powers", lambda it: it.powers
    elif span.text == "/":
        yield _QUOTIENT, lambda _: True
    elif span.text == "," and spans[0].word in PRINT_WORDS and (place, 0) in depths(spans):
        yield _COMMA, lambda _: True
    elif (sign := before + span.text) in ("<>", "><", "!="):
        yield f"{sign} for unequal", lambda it: sign in it.unequal
    elif span.text == "#" and place:
        yield "# for unequal", lambda it: "#" in it.unequal


def _is_number(span: Span | None) -> bool:
    """Return whether a span next to a separator belongs to a number."""
    return span is not None and span.kind != "quoted" and span.text[-1] not in "$,;?"


def _name_forms(span: Span, before: str, after: Span | None) -> Iterator[_Form]:
    if span.text.endswith("$"):
        yield _mean("strings")
    if (length := len(span.text.rstrip("$%"))) > 1:
        yield _mean("names")
    if length > 2:
        yield "names of more than two letters", lambda it: it.longest_name != 2
    if after is not None and after.text == "(" and before != "FN":
        yield _mean("arrays")


def _semicolon(spans: list[Span], place: int, language: Language) -> _Form:
    """Return the role of a semicolon: between statements, or in a PRINT."""
    rest = spans[place + 1 :]
    assigns = len(rest) > 1 and rest[0].kind == "name" and rest[1].text == "="
    begins = bool(rest) and rest[0].word not in ("", "NOT", *language.functions)
    if spans[0].word not in ("INPUT", *PRINT_WORDS) or assigns or begins:
        return "; between statements", lambda it: it.separator == ";"
    if rest:
        return "; between the items of PRINT", lambda it: it.semicolon == "joins"
    return "; at the end of PRINT", lambda it: it.semicolon != "none"
