"""What an expression of the practice board is, and how expressions are put together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from hostlink.practice.arithmetic import Operation, Value, arithmetic
from hostlink.practice.kind import KindLanguage
from hostlink.practice.line_text import LineText
from hostlink.practice.pin_bank import PinBank


class Variables(dict[str, Value]):
    """What the variables hold, by their names; one that was never set is 0 or empty.

    An element of an array has its subscripts in brackets, as in "A(3)" and "N$(1,2)".
    """

    def __missing__(self, name: str) -> Value:
        return "" if "$" in name else 0


class Values(Protocol):
    """What an expression reads on the board: variables, functions and pins."""

    variables: Variables
    functions: dict[str, Function]
    open_functions: int
    pins: PinBank

    def element(self, array: str, places: Sequence[int]) -> str:
        """Return the name of an element. Raises Complaint if the array has none there."""

    def random(self, limit: int) -> int:
        """Return a whole number from 1 to limit."""

    def fraction(self, argument: Value) -> float:
        """Return a number from 0 to below 1; see `Dialect.random`."""

    def room(self) -> int:
        """Return bytes free for a program."""


Expression: TypeAlias = Callable[[Values], Value]
Condition: TypeAlias = Callable[[Values], bool]
Function: TypeAlias = "tuple[str, Expression]"
"""A user-defined function: its variable, and its expression."""


@dataclass(frozen=True, slots=True)
class Variable:
    """A variable that a statement sets: its name, and the subscripts of an array element."""

    name: str
    places: tuple[Expression, ...] = ()

    def named(self, values: Values) -> str:
        """Return the name in `Values.variables`. Raises Complaint if there is no such element."""
        if not self.places:
            return self.name
        return values.element(self.name, [int(place(values)) for place in self.places])


def worth_of(condition: Condition, worth: int) -> Expression:
    """Return an expression that is `worth` if the condition holds, else 0."""
    return lambda values: worth if condition(values) else 0


def compared(left: Expression, relation: str, right: Expression) -> Condition:
    """Return the condition that two values stand in a relation, such as "<="."""
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


def random_number(argument: Expression, language: KindLanguage) -> Expression:
    """Return an expression that calls RND with an argument, as the language defines it."""
    if language.random.startswith("fraction"):
        return lambda values: values.fraction(argument(values))
    first = 1 if language.random == "from-1" else 0
    return lambda values: values.random(argument(values)) - 1 + first


def constant(number: Value) -> Expression:
    """Return an expression that is always the same number."""
    return lambda _: number


def negated(factor: Expression, fit: Callable[[Value], Value]) -> Expression:
    """Return the negated expression. fit: as in `Arithmetic`."""
    return lambda values: fit(-factor(values))


def chained(first: Expression, rest: list[tuple[str, Expression]], text: LineText) -> Expression:
    """Return operations of equal precedence, left to right, without a nested call for each."""
    if not rest:
        return first
    apply = arithmetic(text.language).apply
    if len(rest) == 1:
        sign, right = rest[0]
        return paired(first, apply[sign], right)

    def chain(values: Values) -> Value:
        value = first(values)
        for sign, operand in rest:
            value = apply[sign](value, operand(values))
        return value

    return chain


def paired(left: Expression, apply: Operation, right: Expression) -> Expression:
    """Return the expression that applies an operation to the values of two others."""
    return lambda values: apply(left(values), right(values))
