"""Shrink a program by joining lines and by redirecting jumps past bare remarks.

Only for programs whose jumps all have plain line numbers. A line is joined to the one before it if
nothing jumps to it and the statements of both are known to run in sequence. Nothing is appended to
an IF, a remark or DATA. Interpreters treat text after a bare PRINT, or one that ends in ; or a
comma, differently, and some remember only the line of a loop or call (seen with bwbasic 2.20). So
such a PRINT, FOR and NEXT keep a line of their own, and nothing is appended to a statement that
leaves the line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from hostlink.listing.parse import Line
from hostlink.listing.reading import Reader, is_open
from hostlink.listing.reviewing.jumps import Reference
from hostlink.listing.reviewing.references import references, retargeted, rewritten
from hostlink.listing.rules import Rules

_GOES_ON = frozenset(("LET", "PRINT", "INPUT"))
_MAY_FOLLOW = _GOES_ON | {"IF", "THEN", "GOTO", "GOSUB", "RETURN", "END", "STOP"}
CAREFUL_LENGTH = 72
"""The longest line to make if the board's limit is unknown (ECMA-55, section 5)."""


@dataclass(frozen=True, slots=True)
class _Shape:
    """The properties of a line that decide whether it can be joined to another."""

    words: frozenset[str]
    known: bool
    closed: bool

    def goes_on(self) -> bool:
        """Return whether another statement may be appended."""
        return self.known and self.closed and self.words <= _GOES_ON

    def may_follow(self) -> bool:
        """Return whether the line may be appended to another statement."""
        return self.known and self.closed and self.words <= _MAY_FOLLOW


def merged(lines: Mapping[int, Line], targets: frozenset[int], rules: Rules) -> dict[int, Line]:
    """Join each line to the one before it if that is safe and the result is not too long.

    lines: by number. targets: numbers of lines that jumps name, which stay separate.
    """
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


def without_bare_remarks(
    lines: Mapping[int, Line], loose: tuple[Line, ...], rules: Rules
) -> tuple[dict[int, Line], tuple[Line, ...]]:
    """Remove bare remark lines and redirect jumps from each to the line after it.

    loose: lines without a number, whose jumps are redirected too. A remark at the end of the
    program stays.
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
