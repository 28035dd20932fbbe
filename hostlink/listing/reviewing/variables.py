"""Find the variables that a line sets and reads.

In an uncommon statement, names count as set and not as read, because a board's own statement may
set variables.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hostlink.listing.reading import Reader
from hostlink.listing.tokens import Span

_READS = frozenset(
    ("LET", "PRINT", "IF", "THEN", "ELSE", "GOTO", "GOSUB", "ON", "FOR", "TO", "STEP", "RETURN")
)
_SETS = frozenset(("INPUT", "READ"))
_ENDS_A_VALUE = frozenset(("number", "name", "quoted"))
_BEGINS = frozenset(("", "LET", "THEN", "ELSE", "FOR"))


@dataclass(frozen=True, slots=True)
class Use:
    """A variable in the text of a line. name: in capitals, with ( for an array.

    sets: whether it is assigned a value there. start: its index in the text, from 0.
    """

    name: str
    sets: bool
    start: int


def uses(text: str, reader: Reader) -> list[Use]:
    """Return the variables of a line, in order."""
    functions = {word.upper() for word in reader.language.functions}
    return [use for spans in reader.statements(text) for use in _of_statement(spans, functions)]


def _of_statement(spans: Sequence[Span], functions: set[str]) -> Iterator[Use]:
    word = ""
    strange = False  # an uncommon statement: it may set any variable that it names
    depth = 0
    for place, span in enumerate(spans):
        if span.kind == "word" and span.word not in functions:
            word = span.word
            strange = strange or word not in _READS | _SETS | {"NEXT"}
        elif span.text in "()":
            depth += 1 if span.text == "(" else -1
        elif span.kind == "name" and not (place and spans[place - 1].text == "&"):  # no &HFF
            after = spans[place + 1].text if place + 1 < len(spans) else ""
            name = span.text.upper() + ("(" if after == "(" else "")
            if word == "NEXT":
                continue
            if word in _SETS:
                sets = depth == 0
            elif strange:
                sets = True
            else:
                sets = _begins(spans, place, functions) and _assigned(spans, place)
            yield Use(name, sets, span.start)


def _begins(spans: Sequence[Span], place: int, functions: set[str]) -> bool:
    """Return whether an assignment may begin at an index: at the start or after a condition."""
    if place == 0:
        return True
    before = spans[place - 1]
    if before.word and before.word not in functions:
        return before.word in _BEGINS
    return before.kind in _ENDS_A_VALUE or before.text == ")"


def _assigned(spans: Sequence[Span], place: int) -> bool:
    """Return whether = follows the variable at an index, after any array subscript."""
    at, depth = place + 1, 0
    while at < len(spans):
        text = spans[at].text
        depth += (text == "(") - (text == ")")
        if depth == 0 and text != ")":
            return text == "="
        at += 1
    return False
