"""Adapt a listing: rewrite what has a known equivalent on another board, and name the rest.

Line numbers stay. A line that becomes several takes free numbers after its own, so that jumps need
no change. What has no equivalent is left as it is and named.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from hostlink.listing.adapting.clauses import Clause, clauses
from hostlink.listing.adapting.hoisting import spare_names
from hostlink.listing.adapting.lines import LineMaker
from hostlink.listing.adapting.needs import Need, collected, line_needs, nesting_needs, parts_needs
from hostlink.listing.adapting.numbers import NUMBERS, writes_whole
from hostlink.listing.adapting.printing import PRINTING, input_names, keeps_row_open
from hostlink.listing.adapting.rewriting import WHOLE, Pair, Rewrite
from hostlink.listing.adapting.signs import positive_variables
from hostlink.listing.adapting.words import WORDS
from hostlink.listing.measure import line_cost, measure
from hostlink.listing.parse import Line, Listing
from hostlink.listing.rules import Language, Rules
from hostlink.listing.tokens import scan

REWRITES: tuple[Rewrite, ...] = (*WORDS, *NUMBERS, *PRINTING)
"""All rules of rewriting, in the order in which each clause meets them."""

DEFINITION = f"DEF {WHOLE}(X)=SGN(X)*INT(ABS(X))"
_WHOLE_IS = "it drops the fraction of a quotient, as division did before"

_NUMBER_SHOWN = {
    "blank": "with a blank in front",
    "signed": "with a blank or a minus sign in front",
    "spaced": "with a blank or a minus sign in front and a blank after it",
    "bare": "without blanks",
    "field": "right-aligned in several columns",
}
_TOO_LARGE = {
    "wraps": "wraps to 16 bits instead of stopping the program",
    "refused": "stops the program instead of wrapping to 16 bits",
}


@dataclass(frozen=True, slots=True)
class Change:
    """One changed line. before: as it was, "" for a new one; after: the lines that replace it.

    why: the reasons. cost_bytes: bytes that the change takes, negative where it saves some.
    needed: whether the board would refuse the original line or do something else; if False, only
    blanks in the output would differ.
    """

    number: int
    before: str
    after: tuple[str, ...]
    why: tuple[str, ...]
    cost_bytes: int
    needed: bool = True


@dataclass(frozen=True, slots=True)
class Adapted:
    """An adapted listing. needs: what has no equivalent on the board and was left unchanged.

    before, after, limit: bytes on the board, limit 0 if unknown. asks_free: whether it asks for
    the free memory. notes: sentences on what the program shows or does differently.
    """

    listing: Listing
    changes: tuple[Change, ...]
    needs: tuple[Need, ...]
    before: int
    after: int
    limit: int
    asks_free: bool
    notes: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Return whether the program fits; true if the limit is unknown."""
        return not self.limit or self.after <= self.limit


def adapt(listing: Listing, source: Language, rules: Rules) -> Adapted:
    """Rewrite a listing for the board with these rules.

    source: the language that it is written in. The result is the sorted program that the board
    would hold; lines without a number are left out.
    """
    held = listing.numbered()
    pair = _pair(held, source, rules)
    work = _Work(pair, rules)
    for number, following in pairwise((*held, 0)):
        free = range(number + 1, following or rules.form.last_line + 1)
        work.take(held[number], free, following)
    work.define()
    found = [*work.found, *nesting_needs(held, pair), *line_needs(work.lines, rules)]
    result = Listing.of(work.lines.values())
    return Adapted(
        result,
        tuple(work.changes),
        collected(found),
        measure(Listing(tuple(held.values())), rules).total,
        measure(result, rules).total,
        rules.storage.room,
        _has(held, source, source.free.partition("(")[0]),
        (*_notes(pair, work.inexact, _has(held, source, "FOR")), *_input_note(held, pair)),
    )


class _Work:
    """The listing while it is adapted: the lines so far, the changes, and what is needed."""

    def __init__(self, pair: Pair, rules: Rules) -> None:
        self._pair, self._rules = pair, rules
        self._maker = LineMaker(pair, rules)
        self.found: list[tuple[str, int]] = []
        self.changes: list[Change] = []
        self.lines: dict[int, Line] = {}
        self.inexact = False

    def take(self, line: Line, free: range, following: int) -> None:
        """Adapt a line. free: unused numbers after it. following: the next line, 0 for none."""
        number = line.number or 0
        parts, used = _rewritten_clauses(line.text, self._pair, following)
        made = self._maker.lines(line, parts, free, following)
        self.found += [(need, number) for need in (*parts_needs(parts, self._pair), *made.needs)]
        changed = bool(used or made.why) and made.lines != (line,)
        if changed:
            why = tuple(dict.fromkeys((*(rule.why for rule in used), *made.why)))
            needed = bool(made.why) or any(rule.exact for rule in used)
            self.changes.append(_change(line, made.lines, why, self._rules, needed))
            self.inexact |= any(not rule.exact for rule in used)
        self.lines |= {new.number or 0: new for new in (made.lines if changed else (line,))}

    def define(self) -> None:
        """Define the function for integer division before the lines, if they call it."""
        called = any(f"{WHOLE}(" in line.text for line in self.lines.values())
        if not called or not writes_whole(self._pair):
            return
        first = next(iter(self.lines))
        if not self._rules.form.first_line <= first // 2 < first:
            self.found.append(("no free line number before it; renumber the listing first", first))
            return
        line = Line.from_text(f"{first // 2} {DEFINITION}")
        self.lines = {first // 2: line} | self.lines
        self.changes.insert(0, _change(None, (line,), (f"{WHOLE}: {_WHOLE_IS}",), self._rules))


def _pair(held: Mapping[int, Line], source: Language, rules: Rules) -> Pair:
    spans = (span for line in held.values() for span in scan(line.text, source))
    parts = (part for line in held.values() for part in clauses(line.text, source))
    names = [span.text.upper() for span in spans if span.kind == "name"]
    lacks = "names" in source.means and "names" not in rules.language.means
    long = dict.fromkeys(n[:2] for n in names if lacks and len(n) > 1 and n[1] not in "$%")
    spare = [*spare_names(names), ""]
    return Pair(
        source,
        rules.language,
        any(keeps_row_open(part, source) for part in parts),
        positive_variables(held, source),
        tuple(held),
        spare=spare[0],
        renamed=tuple(zip(long, spare[1:], strict=False)) if len(long) < len(spare) - 1 else (),
    )


def _change(
    line: Line | None, made: Sequence[Line], why: tuple[str, ...], rules: Rules, needed: bool = True
) -> Change:
    cost = sum(line_cost(new, rules) for new in made) - (line_cost(line, rules) if line else 0)
    number = (line or made[0]).number or 0
    before = line.typed if line else ""
    return Change(number, before, tuple(new.typed for new in made), why, cost, needed)


def _input_note(held: Mapping[int, Line], pair: Pair) -> Iterable[str]:
    """Say how to answer INPUT, if that differs between the boards."""
    one, other = pair.source.input_list == "row", pair.target.input_list == "row"
    parts = [part for line in held.values() for part in clauses(line.text, pair.source)]
    asks = any(span.word == "INPUT" for part in parts for span in part.spans(pair.source)[:1])
    if asks and pair.target.fractions and not pair.source.fractions:
        yield "INPUT takes fractions on this board; type whole numbers."
    if one != other and any(input_names(part, pair.source) for part in parts):
        yield (
            "INPUT takes several numbers in one row, with commas between them."
            if other
            else "INPUT asks for each number in a row of its own; type no commas."
        )


def _has(held: Mapping[int, Line], source: Language, word: str) -> bool:
    """Return whether a word occurs in a listing."""
    spans = (span for line in held.values() for span in scan(line.text, source))
    return bool(word) and any(span.word == word for span in spans)


def _rewritten_clauses(text: str, pair: Pair, following: int) -> tuple[list[Clause], list[Rewrite]]:
    """Return the clauses of a line as the target takes them, and the rules that changed them."""
    parts = clauses(text, pair.source)
    pair = replace(pair, following=following) if len(parts) == 1 else pair
    if any(span.word in ("ELSE", "DATA") for span in scan(text, pair.source)):
        return parts, []  # clauses cannot be separated after these; the needs name them
    used: list[Rewrite] = []
    for rule in REWRITES:
        made: list[Clause] = []
        for part in parts:
            new = rule.apply(part, made[-1] if made else None, pair)
            made += [part] if new is None else new
            used += [] if new is None else [rule]
        parts = made
    return parts, used


def _notes(pair: Pair, inexact: bool, loops: bool) -> Iterable[str]:
    source, target = pair.source, pair.target
    if source.number != target.number:
        yield (
            f"PRINT shows numbers {_NUMBER_SHOWN[target.number]}; the board that the listing is "
            f"from shows them {_NUMBER_SHOWN[source.number]}."
        )
    if inexact:
        yield "Blanks between what is printed may differ; the words are the same."
    if source.tests_first != target.tests_first and loops:
        runs = "does not run" if target.tests_first else "runs once"
        yield f"A FOR loop whose end is before its start {runs} on this board, unlike on the other."
    if target.fractions and not source.fractions:
        yield (
            "A result that needs more than 16 bits is calculated and shown on this board; it "
            "neither stops the program nor wraps."
        )
    elif source.overflow != target.overflow:
        yield f"A result that is too large {_TOO_LARGE[target.overflow]}."
