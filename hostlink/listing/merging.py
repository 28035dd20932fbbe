"""Lines made one, and remarks that a jump goes to passed over: what changes a program's lines.

Only for programs all of whose jumps are plain numbers. A line is joined to the one before it
where nothing jumps to it and the statements of both are known to go on after one another. Nothing
follows an IF, a remark or DATA. Interpreters differ beside a PRINT that is bare or ends in ; or a
comma, and some remember only the line that a loop or a call came from (tried on bwbasic 2.20): so
the former and FOR and NEXT stand alone, and nothing follows what leaves the line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from hostlink.listing.parse import Line
from hostlink.listing.reading import Reader, is_open
from hostlink.listing.references import Reference, references, retargeted, rewritten
from hostlink.listing.rules import Rules

_GOES_ON = frozenset(("LET", "PRINT", "INPUT"))
_MAY_FOLLOW = _GOES_ON | {"IF", "THEN", "GOTO", "GOSUB", "RETURN", "END", "STOP"}
CAREFUL_LENGTH = 72
"""The longest line made where the board's limit is not known (ECMA-55, section 5)."""


@dataclass(frozen=True, slots=True)
class _Shape:
    """What decides whether a line can be joined."""

    words: frozenset[str]
    known: bool
    closed: bool

    def goes_on(self) -> bool:
        """Whether another statement may follow."""
        return self.known and self.closed and self.words <= _GOES_ON

    def may_follow(self) -> bool:
        """Whether it may follow another statement."""
        return self.known and self.closed and self.words <= _MAY_FOLLOW


def merged(lines: Mapping[int, Line], targets: frozenset[int], rules: Rules) -> dict[int, Line]:
    """The lines with each joined to the one before it where that is safe and the result fits."""
    separator = rules.language.separator
    storage = rules.storage
    saving = storage.number_bytes + storage.length_bytes + storage.end_bytes - len(separator)
    if not separator or saving < 1:
        return dict(lines)
    limit = rules.form.longest_line or CAREFUL_LENGTH
    reader = Reader(rules.language)
    out: dict[int, Line] = {}
    last: tuple[int, _Shape] | None = None
    for number, line in lines.items():
        shape = _shape(line.text, reader)
        if last is not None and number not in targets and shape.may_follow():
            held, before = last
            typed = out[held].typed.rstrip(" ") + separator + line.text
            if before.goes_on() and len(typed) <= limit:
                text = out[held].text.rstrip(" ") + separator + line.text
                out[held] = rewritten(out[held], held, text)
                last = held, _Shape(before.words | shape.words, True, shape.closed)
                continue
        out[number] = line
        last = number, shape
    return out


def _shape(text: str, reader: Reader) -> _Shape:
    language = reader.language
    spans = reader.spans(text)
    statements = reader.statements(text)
    functions = {word.upper() for word in language.functions}
    words = frozenset(span.word for span in spans if span.word) - functions
    known = bool(statements) and not is_open(spans)
    for statement in statements:
        first = statement[0]
        assigns = first.kind == "name" and len(statement) > 1 and statement[1].text in ("=", "(")
        known = known and (first.kind == "word" or assigns)
    closed = bool(spans) and spans[-1].text not in (";", ",", language.separator)
    closed = closed and spans[-1].word != "PRINT"
    return _Shape(words, known, closed)


def passed_over(
    lines: Mapping[int, Line], loose: tuple[Line, ...], rules: Rules
) -> tuple[dict[int, Line], tuple[Line, ...]]:
    """The lines without bare remarks that jumps go to; the jumps go to the line after each.

    loose: lines without a number, whose jumps follow too. A remark at the very end stays.
    """
    remarks = {word.upper() for word in rules.language.remarks}
    onto: dict[int, int] = {}
    after: int | None = None
    for number in reversed(list(lines)):
        if lines[number].text.strip().upper() in remarks and after is not None:
            onto[number] = after
        else:
            after = number
    if not onto:
        return dict(lines), loose

    def follow(reference: Reference) -> int | None:
        if reference.use in ("from", "to") or reference.target is None:
            return None
        return onto.get(reference.target)

    def moved(line: Line) -> Line:
        found = references(line.text, rules.language)
        text = retargeted(line.text, found, follow)
        return line if text == line.text else rewritten(line, line.number, text)

    kept = {number: moved(line) for number, line in lines.items() if number not in onto}
    return kept, tuple(moved(line) for line in loose)
