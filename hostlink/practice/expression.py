"""Expressions of the practice board's BASIC: read once, evaluated many times.

Values are signed 16-bit whole numbers. A result outside -32768..32767 is an error, or wraps where
the kind's language does that. Division truncates toward zero. Grammar: *Design notes for Tiny
BASIC*, Dr. Dobb's Journal vol. 1 no. 1, 1976, p. 9; functions, comparisons in an expression and a
sign before any factor are additions.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeAlias

from hostlink.dialect import PIN_FUNCTIONS
from hostlink.practice.complaint import Complaint, Reason, excerpt
from hostlink.practice.kind import KindLanguage
from hostlink.practice.pin_bank import PinBank

SMALLEST, LARGEST = -32768, 32767
DEEPEST = 12
"""Brackets that may be open at once."""

FUNCTIONS = ("RND", "ABS", "ROOM")
"""The functions of the practice board; other kinds have another word for the free memory."""

DIGITS = frozenset("0123456789")
LETTERS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
_BLANKS = " \t"


class Values(Protocol):
    """What an expression may look at."""

    variables: list[int]
    pins: PinBank

    def random(self, limit: int) -> int:
        """Return a whole number from 1 to limit."""

    def room(self) -> int:
        """Return bytes free for a program."""


Expression: TypeAlias = Callable[[Values], int]
Condition: TypeAlias = Callable[[Values], bool]
Operation: TypeAlias = Callable[[int, int], int]


class LineText:
    """The text of a line and how far it has been read. `upper` is for finding keywords."""

    __slots__ = ("at", "depth", "language", "text", "upper")

    def __init__(self, text: str, language: KindLanguage) -> None:
        self.text = text
        self.language = language
        self.upper = text.translate(_CAPITALS) if language.small_letters else text
        self.at = 0
        self.depth = 0

    def peek(self) -> str:
        """Skip blanks; the next character as a capital, "" at the end."""
        upper, at = self.upper, self.at
        while at < len(upper) and upper[at] in _BLANKS:
            at += 1
        self.at = at
        return upper[at : at + 1]

    def ends(self) -> bool:
        """Skip blanks; return whether the statement ends here."""
        return self.peek() in ("", self.language.separator)

    def take(self, *words: str) -> str:
        """Skip blanks and take the first of the words that stands here; "" if none does."""
        self.peek()
        for word in words:
            if self.upper.startswith(word, self.at):
                self.at += len(word)
                return word
        return ""

    def need(self, word: str) -> None:
        """Take a word. Raises Complaint if something else stands here."""
        if not self.take(word):
            raise self.puzzled()

    def digits(self) -> int:
        """Take a run of digits, at most `LARGEST` + 1. Raises Complaint beyond."""
        start = self.at
        while self.upper[self.at : self.at + 1] in DIGITS:
            self.at += 1
        run = self.upper[start : self.at].lstrip("0") or "0"
        if len(run) > 5 or int(run) > LARGEST + 1:
            raise Complaint(Reason.RANGE)
        return int(run)

    def quoted(self) -> str:
        """Take quoted text. Raises Complaint where it is not closed."""
        start = self.at + 1
        end = self.text.find(self.text[self.at], start)
        if end < 0:
            raise Complaint(Reason.QUOTE, self.at)
        self.at = end + 1
        return self.text[start:end]

    def puzzled(self) -> Complaint:
        """Return the complaint about what stands here."""
        rest = self.text[self.at :]
        if not rest.strip():
            return Complaint(Reason.SHORT)
        return Complaint(Reason.PUZZLED, self.at, rest=excerpt(rest))


_CAPITALS = {ord(letter.lower()): letter for letter in LETTERS}


def checked(value: int) -> int:
    """Return the value. Raises Complaint if it does not fit in 16 bits."""
    if SMALLEST <= value <= LARGEST:
        return value
    raise Complaint(Reason.RANGE)


def quotient(left: int, right: int) -> int:
    """Whole quotient, truncated toward zero. Raises Complaint for a zero divisor or overflow."""
    return checked(_whole_quotient(left, right))


def _whole_quotient(left: int, right: int) -> int:
    if not right:
        raise Complaint(Reason.DIVISION)
    whole = abs(left) // abs(right)
    return whole if (left < 0) == (right < 0) else -whole


def wrapped(value: int) -> int:
    """Return the value modulo 2**16 as a signed number."""
    return (value - SMALLEST) % (1 << 16) + SMALLEST


def read_expression(text: LineText) -> Expression:
    """Read the longest expression that starts here. Raises Complaint if there is none.

    A comparison is part of it where the language gives it a value.
    """
    value = _read_sum(text)
    worth = text.language.comparison
    while worth and (relation := _take_relation(text)):
        value = _valued(_compared(value, relation, _read_sum(text)), worth)
    return value


def _valued(condition: Condition, worth: int) -> Expression:
    return lambda values: worth if condition(values) else 0


def _read_sum(text: LineText) -> Expression:
    text.depth += 1
    if text.depth > DEEPEST:
        raise Complaint(Reason.BRACKETS, text.at)
    first = _read_term(text)
    rest = []
    while sign := text.take("+", "-"):
        rest.append((sign, _read_term(text)))
    text.depth -= 1
    return _chained(first, rest, text)


def read_condition(text: LineText) -> Condition:
    """Read `expression relation expression`, or an expression where a comparison has a value.

    Raises Complaint if it is neither.
    """
    left = read_expression(text)
    if text.language.comparison:
        return lambda values: left(values) != 0
    relation = _take_relation(text)
    if not relation:
        raise text.puzzled()
    return _compared(left, relation, read_expression(text))


def _take_relation(text: LineText) -> str:
    return text.take("<=", ">=", text.language.at_least, *text.language.unequal, "<", ">", "=")


def _compared(left: Expression, relation: str, right: Expression) -> Condition:
    match relation:
        case "=":
            return lambda values: left(values) == right(values)
        case "<":
            return lambda values: left(values) < right(values)
        case ">":
            return lambda values: left(values) > right(values)
        case "<=":
            return lambda values: left(values) <= right(values)
        case ">=" | "=>":
            return lambda values: left(values) >= right(values)
        case _:
            return lambda values: left(values) != right(values)


def read_variable(text: LineText) -> int:
    """Take a variable A to Z; its index. Raises Complaint if none stands here."""
    letter = text.peek()
    if letter not in LETTERS:
        raise text.puzzled()
    text.at += 1
    return ord(letter) - ord("A")


def _read_term(text: LineText) -> Expression:
    first = _read_factor(text)
    rest = []
    while sign := text.take("*", "/"):
        rest.append((sign, _read_factor(text)))
    return _chained(first, rest, text)


def _read_factor(text: LineText) -> Expression:
    negative = False
    while sign := text.take("+", "-"):
        negative ^= sign == "-"
    start = text.peek()
    if start in DIGITS:
        number = text.digits()
        return _constant(checked(-number if negative else number))
    factor = _read_unsigned(text, start)
    return _negated(factor, _fitting(text)) if negative else factor


def _read_unsigned(text: LineText, start: str) -> Expression:
    if start == "(":
        text.at += 1
        inner = read_expression(text)
        text.need(")")
        return inner
    if free := _read_free(text):
        return free
    if function := text.take("RND", "ABS"):
        if text.peek() == "(":
            text.at += 1
            return _read_call(text, function)
        raise text.puzzled()
    if pin := _read_pin(text):
        return pin
    variable = read_variable(text)
    return lambda values: values.variables[variable]


def _read_pin(text: LineText) -> Expression | None:
    """Take a function that reads a pin; None if none is here."""
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
    argument = read_expression(text)
    text.need(")")
    if function == "ABS":
        fit = _fitting(text)
        return lambda values: fit(abs(argument(values)))
    if text.language.random == "from-0":
        return lambda values: values.random(argument(values)) - 1
    return lambda values: values.random(argument(values))


def _fitting(text: LineText) -> Callable[[int], int]:
    """Return what makes a result fit in 16 bits, or complains."""
    return wrapped if text.language.overflow == "wraps" else checked


def _constant(number: int) -> Expression:
    return lambda _: number


def _negated(factor: Expression, fit: Callable[[int], int]) -> Expression:
    return lambda values: fit(-factor(values))


def _chained(first: Expression, rest: list[tuple[str, Expression]], text: LineText) -> Expression:
    """Operations of one rank, left to right; a loop, so that a long line cannot nest calls."""
    if not rest:
        return first
    apply = _APPLY[text.language.overflow]
    if len(rest) == 1:
        sign, right = rest[0]
        return _paired(first, apply[sign], right)

    def chain(values: Values) -> int:
        value = first(values)
        for sign, operand in rest:
            value = apply[sign](value, operand(values))
        return value

    return chain


def _paired(left: Expression, apply: Operation, right: Expression) -> Expression:
    return lambda values: apply(left(values), right(values))


def _plus(left: int, right: int) -> int:
    value = left + right
    return value if SMALLEST <= value <= LARGEST else checked(value)


def _minus(left: int, right: int) -> int:
    value = left - right
    return value if SMALLEST <= value <= LARGEST else checked(value)


def _times(left: int, right: int) -> int:
    value = left * right
    return value if SMALLEST <= value <= LARGEST else checked(value)


_APPLY: dict[str, dict[str, Operation]] = {
    "refused": {"+": _plus, "-": _minus, "*": _times, "/": quotient},
    "wraps": {
        "+": lambda left, right: wrapped(left + right),
        "-": lambda left, right: wrapped(left - right),
        "*": lambda left, right: wrapped(left * right),
        "/": lambda left, right: wrapped(_whole_quotient(left, right)),
    },
}
