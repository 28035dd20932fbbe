"""Rules for numbers: integer division, random numbers, comparison values, computed jumps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from hostlink.listing.adapting.clauses import Clause, call_end, depths, valued_comparisons
from hostlink.listing.adapting.hoisting import assigned
from hostlink.listing.adapting.rewriting import PLAIN_JUMP_NEEDED, WHOLE, Pair, Rewrite, rewrites
from hostlink.listing.adapting.signs import is_positive
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, keywords

_PRODUCT = ("*", "/", "^")
_ALONE, _AFTER = 40, 32  # characters of the line numbers after ON, alone and after IF
_APART = 50  # least distance of other lines from those to which a computed jump may go


def divides_alike(pair: Pair) -> bool:
    """Return whether division gives the same on both boards, or can be made to."""
    return pair.source.fractions == pair.target.fractions or writes_whole(pair)


def writes_whole(pair: Pair) -> bool:
    """Return whether quotients need functions to stay integers, and the target has these."""
    able = {"INT", "SGN", "ABS", "DEF", "FN"} <= set(keywords(pair.target))
    return able and pair.target.fractions and not pair.source.fractions


@rewrites("whole-division", "A=B/2", f"A={WHOLE}(B/2)", "division keeps the fraction on this board")
def _division(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """Drop the fraction of each quotient toward zero; INT does that where nothing is negative."""
    if not writes_whole(pair):
        return None
    spans = clause.spans(pair.both)
    signs = (at for at, span in enumerate(spans) if span.text == "/" and span.kind == "symbol")
    quotients = [_quotient(spans, at, pair.both) for at in signs]
    return clause.wrapped(
        pair.both,
        [
            (first, end, "INT(" if is_positive(spans[first:end], pair.positive) else f"{WHOLE}(")
            for first, end in quotients
        ],
    )


def _quotient(spans: Sequence[Span], at: int, language: Language) -> tuple[int, int]:
    """Return the start and end of the quotient whose / stands at an index of the spans."""
    first, end = _operand_start(spans, at - 1, language), _operand_end(spans, at + 1)
    while first > 1:
        signed = spans[first - 1].text in ("+", "-") and spans[first - 2].text in _PRODUCT
        sign = first - 1 - signed
        if spans[sign].text not in _PRODUCT:
            break
        first = _operand_start(spans, sign - 1, language)
    while end < len(spans) and spans[end].text == "^":
        end = _operand_end(spans, end + 1)
    return first, end


def _operand_start(spans: Sequence[Span], at: int, language: Language) -> int:
    """Return the first index of the operand that ends at an index of the spans."""
    depth = 0
    while at > 0:
        depth += (spans[at].text == ")") - (spans[at].text == "(")
        if depth == 0:
            break
        at -= 1
    called = at > 0 and spans[at].text == "("
    before = spans[at - called]
    return at - (called and (before.kind == "name" or before.word in language.functions))


def _operand_end(spans: Sequence[Span], at: int) -> int:
    """Return the index after the operand that begins at an index of the spans."""
    while at < len(spans) and spans[at].text in ("+", "-"):
        at += 1
    opens = at if spans[at : at + 1] and spans[at].text == "(" else at + 1
    called = opens < len(spans) and spans[opens].text == "("
    return max(call_end(spans, opens - 1), at) + 1 if called else min(at + 1, len(spans))


@rewrites("whole-root", "A=SQR(B)", "A=INT(SQR(B))", "SQR keeps the fraction on this board")
def _root(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    if pair.source.fractions or not pair.target.fractions:
        return None
    spans = clause.spans(pair.source)
    roots = ((at, call_end(spans, at) + 1) for at, span in enumerate(spans) if span.word == "SQR")
    return clause.wrapped(pair.source, [(at, end, "INT(") for at, end in roots if end])


_RANDOM: dict[tuple[str, str], tuple[str, str]] = {
    ("from-1", "from-0"): ("RND", "+1"),
    ("from-0", "from-1"): ("RND", "-1"),
    **{
        (start, form): (f"INT({call}*", f"){more}")
        for start, more in (("from-1", "+1"), ("from-0", ""))
        for form, call in (("fraction", "RND"), ("fraction-0", "RND(0)"), ("fraction-1", "RND(1)"))
    },
}
"""What replaces RND before its argument and after it, by the forms of source and target."""


@rewrites("random", "A=RND(6)", "A=(RND(6)+1)", "RND gives other numbers on this board")
def _random(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    written = _RANDOM.get((pair.source.random, pair.target.random))
    spans = clause.spans(pair.source)
    if written is None:
        return None
    before, after = written
    new: dict[int, str] = {}
    for place, span in enumerate(spans):
        if span.word != "RND":
            continue
        last = call_end(spans, place)
        if last < 0:
            return None
        inside = bool(after[-2:] in ("+1", "-1") and _binds(spans, place, last))
        bare = before != "RND" and last == place + 3
        new[span.start] = "(" * inside + before
        new[spans[last].start] = ")" * (not bare) + after + ")" * inside
        if bare:
            new[spans[place + 1].start] = ""
    return clause.respelled(pair.source, lambda span: new.get(span.start, span.text))


def _binds(spans: Sequence[Span], first: int, last: int) -> bool:
    """Return whether an operator next to the spans from first to last binds closer than a sum."""
    before = spans[first - 1].text if first else ""
    after = spans[last + 1].text if last + 1 < len(spans) else ""
    return before in ("-", "*", "/", "^", "%") or after in ("*", "/", "^", "%")


@rewrites("comparison-sign", "A=B>1", "A=-(B>1)", "a true comparison has the other sign here")
def _comparison(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """Negate each comparison whose value is used, if true is 1 on one board and -1 on the other."""
    if not pair.source.comparison or pair.source.comparison != -pair.target.comparison:
        return None
    places = valued_comparisons(clause, pair.both)
    return clause.wrapped(pair.both, [(*each, "-(") for each in places])


_ON_LISTS = f"{PLAIN_JUMP_NEEDED}; ON does nothing for any other line"


@rewrites("computed-jump", "GOSUB 200+N", "ON N+1 GOSUB 200,201", _ON_LISTS)
def _computed_jump(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """List the lines to which a sum of a line number and something else may lead."""
    spans = clause.spans(pair.both)
    jumps = bool(spans) and spans[0].word in ("GOTO", "GOSUB") and len(spans) > 2
    if not jumps or pair.target.computed_jumps or "ON" not in keywords(pair.target):
        return None
    at, base, rest = _sum(spans)
    lines = _meant(base, pair.lines, is_positive(rest, pair.positive)) if at else []
    if not lines:
        return None
    front = clause.text[spans[1].start : spans[at - 1].start].rstrip()
    text = (front + clause.text[spans[at].end :]).lstrip("+ ")
    return _on(clause, pair, text, lines, int(spans[at].text) - lines[0] + 1)


def _sum(spans: Sequence[Span]) -> tuple[int, int, list[Span]]:
    """Return the index of the first number of a sum after GOTO, the sum of its numbers, the rest.

    The index is 0 if the rest is multiplied, subtracted, or not a plain value, because such a sum
    may lead to any line.
    """
    level = [at for at, depth in depths(spans) if depth == 0 and spans[at].text not in "()"]
    signs, terms = level[2::2], level[1::2]
    plain = [at for at in terms if spans[at].text.isdecimal()]
    base = sum(int(spans[at].text) * (-1 if spans[at - 1].text == "-" else 1) for at in plain)
    values = all(spans[at].kind == "name" or spans[at].word or at in plain for at in terms)
    sums = all(spans[at].text == "+" or (spans[at].text == "-" and at + 1 in plain) for at in signs)
    rest = [span for at, span in enumerate(spans) if at not in (0, *signs)]
    added = (at for at in plain if spans[at - 1].text != "-")
    return next(added, 0) * (values and sums and 0 < len(signs) < len(terms)), base, rest


def _meant(base: int, lines: Sequence[int], positive: bool) -> list[int]:
    """Return the run of consecutive line numbers around the first one that is not below a base.

    positive: whether no line below the base can be meant. The result is empty if one line stands
    alone, or if other lines are so near that they might be meant as well.
    """
    reach = [number for number in lines if number >= base or not positive]
    low = high = next((number for number in reach if number >= base), 0)
    while high + 1 in reach:
        high += 1
    while low - 1 in reach:
        low -= 1
    near = any(0 < max(low - number, number - high) < _APART for number in reach)
    return [] if near or low == high else list(range(low, high + 1))


def _on(
    clause: Clause, pair: Pair, rest: str, lines: Sequence[int], offset: int
) -> list[Clause] | None:
    word = clause.spans(pair.source)[0].word

    def listed(lines: Sequence[int], offset: int) -> str:
        """Return the ON statement for these lines; its index is the rest plus `offset`."""
        index = f"{rest}{offset:+d}" if offset else rest
        return f"ON {index} {word} {','.join(map(str, lines))}"

    digits = len(str(lines[-1])) + 1
    if len(lines) * digits <= _ALONE:
        return [clause.with_text(listed(lines, offset))]
    plain = len(rest) == 1
    if pair.following < 0 or not (plain or pair.spare):
        return None
    made = [] if plain else [replace(assigned(pair.spare, rest, pair.target), last=True)]
    rest = rest if plain else pair.spare
    onward = Clause(f"GOTO {pair.following}" if pair.following else "END", last=True)
    most = max(1, _AFTER // digits)
    while len(lines) * digits > _ALONE:
        some, lines = lines[:most], lines[most:]
        test = Clause(f"IF {rest}<{len(some) - offset + 1}", condition=True, then=True)
        made += [test, Clause(listed(some, offset)), onward]
        offset -= len(some)
    return [*made, Clause(listed(lines, offset))]


@rewrites("power", "A=B^2", "A=(B*B)", "this board has no ^")
def _power(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """Write a name or a number that is raised to 2, 3 or 4 as a product."""
    if pair.target.powers or not pair.source.powers:
        return None
    spans = clause.spans(pair.both)
    new: dict[int, str] = {}
    for at, span in enumerate(spans[:-1]):
        base, exponent, after = spans[at - 1], spans[at + 1], spans[at + 2 : at + 3]
        alone = not (at > 1 and spans[at - 2].text == "^") and not (after and after[0].text == "^")
        plain = base.kind in ("name", "number") and exponent.text in ("2", "3", "4")
        if span.text == "^" and plain and alone:
            new[base.start] = f"({'*'.join([base.text] * int(exponent.text))})"
            new |= {span.start: "", exponent.start: ""}
    return clause.respelled(pair.both, lambda span: new.get(span.start, span.text))


NUMBERS: tuple[Rewrite, ...] = (_power, _random, _root, _division, _comparison, _computed_jump)
"""The rules for numbers, in the order in which they are tried."""
