"""Expressions of the practice board's BASIC: read once, evaluated many times.

Values are numbers as the kind's language has them (hostlink.practice.arithmetic), or text if it has
strings. Grammar: *Design notes for Tiny BASIC*, Dr. Dobb's Journal vol. 1 no. 1, 1976, p. 9;
functions, text, powers, AND and OR, comparisons in an expression and a sign before any factor are
additions.
"""

from __future__ import annotations

import re
from functools import lru_cache

from hostlink.pins import PIN_FUNCTIONS
from hostlink.practice.arithmetic import Operation, Value, arithmetic
from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.functions import FUNCTIONS
from hostlink.practice.kind import KindLanguage
from hostlink.practice.line_text import DIGITS, LineText
from hostlink.practice.values import (
    Condition,
    Expression,
    Values,
    Variable,
    chained,
    compared,
    constant,
    negated,
    paired,
    random_number,
    worth_of,
)

DEEPEST = 12
"""Brackets that may be open at once."""
LONGEST_TEXT = 255
"""Characters of a text, as on large BASICs: from memory."""
_DEEPEST_CALL = 8
"""Calls of functions made by DEF that may be open at once."""


def read_expression(text: LineText) -> Expression:
    """Read the longest expression of numbers that starts here. Raises Complaint if there is none.

    A comparison is part of it if the language gives it a value.
    """
    value = _read_comparison(text)
    while text.language.logic and (word := text.take("AND", "OR")):
        value = paired(value, _LOGIC[word], _read_comparison(text))
    return value


_LOGIC: dict[str, Operation] = {
    "AND": lambda left, right: int(left) & int(right),
    "OR": lambda left, right: int(left) | int(right),
}


def _read_comparison(text: LineText) -> Expression:
    worth = text.language.comparison
    if text.language.logic and text.take("NOT"):
        inner = _read_comparison(text)
        return lambda values: ~int(inner(values))
    if begins_text(text):
        left = read_text(text)
        relation = _take_relation(text)
        if not (worth and relation):
            raise text.puzzled()
        return worth_of(compared(left, relation, read_text(text)), worth)
    value = _read_sum(text)
    while worth and (relation := _take_relation(text)):
        value = worth_of(compared(value, relation, _read_sum(text)), worth)
    return value


def read_any(text: LineText) -> Expression:
    """Read an expression of numbers or of text. Raises Complaint if there is neither."""
    start = text.at
    if begins_text(text):
        value = read_text(text)
        if not _take_relation(text):
            return value
        text.at = start
    return read_expression(text)


def begins_text(text: LineText) -> bool:
    """Return whether an expression of text starts here."""
    language = text.language
    if "strings" not in language.means:
        return False
    calls = tuple(f"{name}(" for name in language.functions if name.endswith("$"))
    return (
        text.peek() in (*language.quotes,)
        or text.upper.startswith(calls, text.at)
        or _is_text_name(text)
    )


def _is_text_name(text: LineText) -> bool:
    found = _name(text.language).match(text.upper, text.at)
    return found is not None and text.upper[found.end() : found.end() + 1] == "$"


def read_text(text: LineText) -> Expression:
    """Read an expression of text. Raises Complaint if there is none."""
    parts = [_read_text_part(text)]
    while text.take("+"):
        parts.append(_read_text_part(text))

    def joined(values: Values) -> str:
        whole = "".join(part(values) for part in parts)
        if len(whole) > LONGEST_TEXT:
            raise Complaint(Reason.TEXT, most=LONGEST_TEXT)
        return whole

    return parts[0] if len(parts) == 1 else joined


def _read_text_part(text: LineText) -> Expression:
    if not begins_text(text):
        raise text.puzzled()
    if text.peek() in text.language.quotes:
        return constant(text.quoted())
    names = [name for name in text.language.functions if name.endswith("$")]
    if function := text.take(*names):
        return _read_call(text, function)
    return _value_of(read_variable(text))


def _read_sum(text: LineText) -> Expression:
    text.depth += 1
    if text.depth > DEEPEST:
        raise Complaint(Reason.BRACKETS, text.at)
    first = _read_term(text)
    rest = []
    while sign := text.take("+", "-"):
        rest.append((sign, _read_term(text)))
    text.depth -= 1
    return chained(first, rest, text)


def read_condition(text: LineText) -> Condition:
    """Read `expression relation expression`, or an expression if a comparison has a value.

    Raises Complaint if it is neither.
    """
    left = read_expression(text)
    if text.language.comparison:
        return lambda values: left(values) != 0
    relation = _take_relation(text)
    if not relation:
        raise text.puzzled()
    return compared(left, relation, read_expression(text))


def _take_relation(text: LineText) -> str:
    return text.take("<=", ">=", text.language.at_least, *text.language.unequal, "<", ">", "=")


def read_name(text: LineText) -> str:
    """Take the name of a variable, in the characters that count. Raises Complaint without one."""
    text.peek()
    if (found := _name(text.language).match(text.upper, text.at)) is None:
        raise text.puzzled()
    text.at = found.end()
    is_text = "strings" in text.language.means and text.upper[text.at : text.at + 1] == "$"
    text.at += is_text
    return found[0][:2] + "$" * is_text


def read_variable(text: LineText) -> Variable:
    """Take a variable, or an element of an array if the language has them."""
    name = read_name(text)
    if "arrays" not in text.language.means or not text.take("("):
        return Variable(name)
    places = tuple(text.listed(read_expression))
    text.need(")")
    return Variable(name, places)


def _value_of(variable: Variable) -> Expression:
    name = variable.name
    if variable.places:
        return lambda values: values.variables[variable.named(values)]
    return lambda values: values.variables[name]


@lru_cache(maxsize=64)
def _name(language: KindLanguage) -> re.Pattern[str]:
    """Return the pattern of a variable's name, which ends where a keyword begins."""
    words = {*language.lacks}
    if "names" in language.means:
        words |= {word for _, words in language.words for word in words}
        words |= {"TO", "STEP", "THEN", "AND", "OR", "NOT", *language.functions, "RND"}
    inner = "|".join(re.escape(word) for word in sorted(words)) or "(?!)"
    if "names" not in language.means:
        return re.compile(f"(?!{inner})[A-Z]")
    more = f"{{0,{language.longest_name - 1}}}" if language.longest_name else "*"
    return re.compile(f"(?!{inner})[A-Z](?:(?!{inner})[A-Z0-9]){more}")


def _read_term(text: LineText) -> Expression:
    first = _read_factor(text)
    rest = []
    while sign := text.take("*", "/"):
        rest.append((sign, _read_factor(text)))
    return chained(first, rest, text)


def _read_factor(text: LineText) -> Expression:
    negative = False
    while sign := text.take("+", "-"):
        negative ^= sign == "-"
    start = text.peek()
    fit = arithmetic(text.language).fit
    if start in DIGITS and not (text.language.fractions or text.language.powers):
        number = text.digits()
        return constant(fit(-number if negative else number))
    factor = _read_unsigned(text, start)
    raised = arithmetic(text.language).power
    while text.language.powers and text.take("^"):
        factor = paired(factor, raised, _read_unsigned(text, text.peek()))
    return negated(factor, fit) if negative else factor


def _read_unsigned(text: LineText, start: str) -> Expression:
    if text.language.fractions and (start in DIGITS or start == "."):
        return constant(text.fraction())
    if text.language.powers and start in DIGITS:
        return constant(text.digits())
    if start == "(":
        text.at += 1
        inner = read_expression(text)
        text.need(")")
        return inner
    if free := _read_free(text):
        return free
    if function := text.take("RND", *text.language.functions):
        return _read_call(text, function)
    if dict(text.language.words)["def"] and text.take("FN"):
        return _read_own_call(text)
    if pin := _read_pin(text):
        return pin
    return _value_of(read_variable(text))


def _read_own_call(text: LineText) -> Expression:
    """Read the call of a function that DEF defines."""
    at, name = text.at, read_name(text)
    text.need("(")
    argument = read_expression(text)
    text.need(")")

    def call(values: Values) -> Value:
        if name not in values.functions:
            raise Complaint(Reason.PUZZLED, at, rest="FN")
        if values.open_functions == _DEEPEST_CALL:
            raise Complaint(Reason.GOSUBS, most=_DEEPEST_CALL)
        variable, expression = values.functions[name]
        outer, values.variables[variable] = values.variables[variable], argument(values)
        values.open_functions += 1
        try:
            return expression(values)
        finally:
            values.open_functions -= 1
            values.variables[variable] = outer

    return call


def _read_pin(text: LineText) -> Expression | None:
    """Take a function that reads a pin; return None if there is none here."""
    start = text.at
    for name in PIN_FUNCTIONS:
        form = text.language.pins.form(name)
        if form and text.take(form.word) and text.take("("):
            pin = read_expression(text)
            text.need(")")
            return _reading(name, pin)
        text.at = start
    return None


def _reading(name: str, pin: Expression) -> Expression:
    return lambda values: values.pins.get(name, pin(values))


def _read_free(text: LineText) -> Expression | None:
    """Take the function for the free memory, as the language writes it; None if it is not here."""
    name, bracket, inside = text.language.free.partition("(")
    if not name or not text.take(name):
        return None
    if bracket:
        text.need("(")
        if inside != ")":
            read_expression(text)
        text.need(")")
    return lambda values: values.room()


def _read_call(text: LineText, function: str) -> Expression:
    if function == "RND" and text.language.random == "fraction":
        return random_number(constant(0), text.language)
    if text.peek() != "(":
        raise text.puzzled()
    text.at += 1
    if function == "RND":
        argument = read_expression(text)
        text.need(")")
        return random_number(argument, text.language)
    if function not in FUNCTIONS:  # TAB is an item of PRINT only
        raise text.puzzled()
    takes, call = FUNCTIONS[function]
    arguments: list[Expression] = []
    for place, kind in enumerate(takes):
        if place == 2 and text.peek() == ")":
            break
        if place:
            text.need(",")
        arguments.append(read_text(text) if kind == "t" else read_expression(text))
    text.need(")")

    def called(values: Values) -> Value:
        return call(*(argument(values) for argument in arguments))

    if text.language.fractions:
        return called
    fit = arithmetic(text.language).fit
    return lambda values: fit(int(called(values)))
