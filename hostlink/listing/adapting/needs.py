"""Find what an adapted listing still needs and the board lacks, with the lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from hostlink.dialect import MEANS
from hostlink.listing.adapting.clauses import (
    Clause,
    begins_item,
    clauses,
    depths,
    is_relation,
    valued_comparisons,
)
from hostlink.listing.adapting.numbers import divides_alike
from hostlink.listing.adapting.rewriting import COMPARISON_AS_NUMBER, PLAIN_JUMP_NEEDED, Pair
from hostlink.listing.parse import Line
from hostlink.listing.reviewing.references import references
from hostlink.listing.rules import Rules
from hostlink.listing.tokens import Span, has_word


@dataclass(frozen=True, slots=True)
class Need:
    """Something that the board lacks. what: a sentence without full stop. lines: where."""

    what: str
    lines: tuple[int, ...]


def collected(found: Sequence[tuple[str, int]]) -> tuple[Need, ...]:
    """Return the needs, each with all its lines, in the order in which they were found."""
    lines: dict[str, dict[int, None]] = {}
    for what, number in found:
        lines.setdefault(what, {})[number] = None
    return tuple(Need(what, tuple(numbers)) for what, numbers in lines.items())


def parts_needs(parts: Sequence[Clause], pair: Pair) -> Iterator[str]:
    """Find what the rewritten clauses of a line need."""
    for before, part in zip((None, *parts), parts, strict=False):
        yield from _clause_needs(part, before, pair)


def _clause_needs(clause: Clause, before: Clause | None, pair: Pair) -> Iterator[str]:
    source, target = pair.source, pair.target
    if target.free:  # written by a rule, and not a word of the source
        clause = clause.with_text(clause.text.replace(target.free, "0"))
    spans = clause.spans(pair.both)
    after_then = before is not None and before.condition and target.then_takes == "line"
    if after_then and not clause.bare:
        yield "THEN takes only a line number"
    if source.comparison and not target.comparison and valued_comparisons(clause, pair.both):
        yield f"{COMPARISON_AS_NUMBER}: this board does not allow it"
    asks = spans[:1] and spans[0].word == "INPUT" and any(s.kind == "quoted" for s in spans)
    if asks and "input-text" not in target.means:
        yield "INPUT takes no text on this board"
    if any(span.text == "/" for span in spans) and not divides_alike(pair):
        yield "division: only one of the two boards keeps fractions"
    several = any(spans[at].text == "," for at, depth in depths(spans) if depth == 0)
    if spans[:1] and spans[0].word == "LET" and several and source != target:
        yield "several assignments after one LET: write each as a statement"
    for place in range(len(spans)):
        yield from _span_needs(spans, place, pair)


def nesting_needs(held: Mapping[int, Line], pair: Pair) -> Iterator[tuple[str, int]]:
    """Find loops nested deeper than the board allows, by the order of the lines."""
    most = pair.target.loops
    open_loops: list[str] = []
    for number, line in held.items():
        for part in clauses(line.text, pair.source):
            spans = part.spans(pair.source)
            name = spans[1].text if len(spans) > 1 else ""
            if spans and spans[0].word == "FOR":
                open_loops = [*(loop for loop in open_loops if loop != name), name]
                if 0 < most < len(open_loops):
                    yield f"nested loops: this board allows at most {most}", number
            if spans and spans[0].word == "NEXT" and not (name or pair.target.bare_next):
                yield "NEXT without its variable: this board needs it", number
            if spans and spans[0].word == "NEXT" and open_loops:
                del open_loops[open_loops.index(name) if name in open_loops else -1 :]


def _span_needs(spans: Sequence[Span], place: int, pair: Pair) -> Iterator[str]:
    source, target = pair.source, pair.target
    span, after = spans[place], (*spans, None)[place + 1]
    if span.kind == "word" and not has_word(target, span.word) and span.word not in ("TO", "STEP"):
        yield f"{span.word}: this board has no such word"
    elif span.word == "CLEAR" and source != target:
        yield "CLEAR: boards differ in whether it clears the program or only its variables"
    elif span.word in ("RND", "SQR") and source.fractions and not target.fractions:
        yield f"{span.word}: it gave fractions, and gives whole numbers on this board"
    elif span.kind == "name":
        function = place > 0 and spans[place - 1].word == "FN"
        yield from _name_needs(span, None if function else after, pair)
    elif span.kind == "number":
        plain = span.text.isdecimal()
        if not target.fractions and not plain:
            yield "fractions: this board has whole numbers only"
        elif not target.fractions and int(span.text) > target.largest_number:
            yield f"numbers above {target.largest_number}: this board has none"
    elif span.kind == "quoted":
        if span.text[0] not in target.quotes:
            yield "a quotation mark inside a text: this board does not allow it"
        if after is not None and is_relation(after) and "strings" not in target.means:
            yield "a comparison of texts: this board has none"
    elif span.text == "^" and not target.powers:
        yield "^: this board has no powers"
    elif span.text == "%" or (span.text == "@" and source != target):
        yield f"{span.text}: whether this board has it is not known"
    elif span.text == "#" and begins_item(spans, place) and source != target:
        yield "# in PRINT: whether this board can set the width of numbers is not known"


def _name_needs(span: Span, after: Span | None, pair: Pair) -> Iterator[str]:
    means = pair.target.means
    letters = span.text.rstrip("$%")
    wanted = {
        "strings": span.text.endswith("$"),
        "arrays": after is not None and after.text == "(",
        "names": len(letters) > 1,
    }
    for mean, is_wanted in wanted.items():
        if is_wanted and mean not in means:
            yield f"{mean}: this board has no {MEANS[mean]}"


def line_needs(lines: Mapping[int, Line], rules: Rules) -> Iterator[tuple[str, int]]:
    """Find lines that the board refuses because of their number, length or computed jumps."""
    form = rules.form
    language = replace(rules.language, computed_jumps=True)  # so that these are found
    for number, line in lines.items():
        if not form.first_line <= number <= form.last_line:
            yield f"line numbers are {form.first_line} to {form.last_line}", number
        if form.longest_line and len(line.typed) > form.longest_line:
            yield f"a line has at most {form.longest_line} characters", number
        computed = any(each.target is None for each in references(line.text, language))
        if computed and not rules.language.computed_jumps:
            yield PLAIN_JUMP_NEEDED, number
