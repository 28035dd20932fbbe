"""The forms that occur in a listing of unknown origin, and which BASICs take them all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from hostlink.dialect import MEANS
from hostlink.listing.adapting.clauses import PRINT_WORDS, Clause, clauses
from hostlink.listing.adapting.printing import listed
from hostlink.listing.adapting.words import needs_then
from hostlink.listing.parse import Listing
from hostlink.listing.reviewing.references import references
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, keywords

Taken = Callable[[Language], bool]


@dataclass(frozen=True, slots=True)
class Form:
    """A form that occurs in a listing. what: its name. lines: where. taken: who takes it."""

    what: str
    lines: tuple[int, ...]
    taken: Taken


@dataclass(frozen=True, slots=True)
class Guess:
    """Where a listing seems to come from.

    names: the kinds that take all its forms, the one with the fewest words first, not counting
    those for pins; empty if none does. forms: what speaks for them, the forms that some known
    kind does not take.
    """

    names: tuple[str, ...]
    forms: tuple[Form, ...]


def guess(listing: Listing, known: Mapping[str, Language]) -> Guess:
    """Guess for which of the known kinds a listing was written. known: languages by name."""
    found = forms(listing, tuple(known.values()))
    taking = [
        name for name, language in known.items() if all(form.taken(language) for form in found)
    ]
    taking.sort(key=lambda name: len(keywords(known[name])) - len(known[name].pins.forms))
    telling = (form for form in found if not all(map(form.taken, known.values())))
    return Guess(tuple(taking), tuple(telling))


def forms(listing: Listing, known: Collection[Language]) -> tuple[Form, ...]:
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
    return tuple(Form(what, tuple(lines), taken) for what, (taken, lines) in found.items())


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
    )


def _line_forms(parts: list[Clause]) -> Iterator[tuple[str, Taken]]:
    """Find the forms that a line has as a whole."""
    for at, (part, after) in enumerate(zip(parts, (*parts[1:], None), strict=True)):
        if at and not parts[at - 1].condition:
            yield ": between statements", lambda language: language.separator == ":"
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
        if spans[0].kind == "name" and any(span.text == "=" for span in spans):
            yield "an assignment without LET", lambda taking: "LET" in taking.optional
        if spans[0].word == "FOR" and at + 1 < len(parts):
            yield _mean("one-line-loops")
        if spans[0].word == "INPUT" and any(span.kind == "quoted" for span in spans):
            yield _mean("input-text")
        if listed(part, language):
            yield "several variables in INPUT", lambda taking: taking.input_list != "none"
        for place, span in enumerate(spans):
            yield from _span_forms(spans, place, span)


def _mean(name: str) -> tuple[str, Taken]:
    return MEANS[name], lambda language: name in language.means


def _span_forms(spans: list[Span], place: int, span: Span) -> Iterator[tuple[str, Taken]]:
    before = spans[place - 1].text if place else ""
    after = spans[place + 1] if place + 1 < len(spans) else None
    if span.word and span.word not in ("TO", "STEP", "ELSE"):
        word = span.word
        yield f"the word {word}", lambda language: word in keywords(language)
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
        yield from _name_forms(span, after)
    elif span.text == ";":
        yield _semicolon(spans, place)
    elif (sign := before + span.text) in ("<>", "><", "!="):
        yield f"{sign} for unequal", lambda language: sign in language.unequal
    elif span.text == "#" and place:
        yield "# for unequal", lambda language: "#" in language.unequal


def _name_forms(span: Span, after: Span | None) -> Iterator[tuple[str, Taken]]:
    if span.text.endswith("$"):
        yield _mean("strings")
    if len(span.text.rstrip("$%")) > 1:
        yield _mean("names")
    if after is not None and after.text == "(":
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
