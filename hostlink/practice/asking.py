"""INPUT of a practice board's BASIC: the question, and what its answers may be."""

from __future__ import annotations

import re

from hostlink.practice.arithmetic import LARGEST, SMALLEST, Value
from hostlink.practice.expression import read_variable
from hostlink.practice.functions import plain
from hostlink.practice.line_text import LineText
from hostlink.practice.ops import ReadLine, Send
from hostlink.practice.state import State, Step, Talk
from hostlink.practice.values import Variable

_WHOLE = re.compile(rb"[ \t]*([+-]?)[ \t]*([0-9]{1,9})[ \t]*")
_FLOATING = re.compile(
    rb"[ \t]*([+-]?)[ \t]*((?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:E[+-]?[0-9]{1,2})?)[ \t]*"
)


def read_input_statement(text: LineText) -> Step:
    """Read the question and the variables of INPUT."""
    question = text.language.asks
    if "input-text" in text.language.means and text.peek() in text.language.quotes:
        question = text.quoted()
        text.need(",")
    many = text.language.input_list != "none"
    variables = text.listed(read_variable) if many else [read_variable(text)]
    if text.language.input_list == "rows":
        return lambda state: _ask_each(state, variables, question)
    return lambda state: _ask(state, variables, question)


def _ask_each(state: State, variables: list[Variable], prompt: str) -> Talk:
    """Ask for each variable in a row of its own."""
    for variable in variables:
        if (yield from _ask(state, [variable], prompt)):
            return True
    return False


def _ask(state: State, variables: list[Variable], prompt: str) -> Talk:
    """Repeat the question until every variable has a value."""
    language = state.kind.language
    wanted = "a number" if len(variables) == 1 else f"{len(variables)} numbers"
    while True:
        answer = yield ReadLine(prompt.encode("latin-1"))
        state.column = 0
        if not isinstance(answer, bytes) or state.stops(answer):
            return True
        if language.empty_answer == "ends" and not answer.strip():
            state.halt()
            return False
        values = _values(answer, variables, state)
        if len(values) == len(variables):
            for variable, value in zip(variables, values, strict=True):
                state.variables[variable.named(state)] = value
            return False
        said = state.wording.wrong_answer(wanted)
        if said:
            yield Send(said)
        prompt = language.asks_again


def _values(answer: bytes, variables: list[Variable], state: State) -> list[Value]:
    """Return the values of an answer, fewer than there are variables if it is wrong."""
    parts = answer.split(b",")
    if len(parts) != len(variables):
        return []
    values = [
        read_value(part, variable, state) for variable, part in zip(variables, parts, strict=True)
    ]
    return [value for value in values if value is not None]


def read_value(part: bytes, variable: Variable, state: State) -> Value | None:
    """Return the value for a variable in an answer or in DATA; None if it is not a number.

    An empty answer is 0 in some languages.
    """
    if "$" in variable.name:
        return part.strip(b" ").decode("latin-1")
    language = state.kind.language
    if language.empty_answer == "zero" and not part.strip():
        return 0
    found = (_FLOATING if language.fractions else _WHOLE).fullmatch(part)
    if not found:
        return None
    value = plain(float(found[1] + found[2]))
    return value if language.fractions or SMALLEST <= value <= LARGEST else None
