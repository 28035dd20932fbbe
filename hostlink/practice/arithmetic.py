"""Numbers of a practice board's BASIC: 16-bit integers, or floating point.

An integer result outside -32768..32767 is an error, or wraps if the kind's language does that;
division truncates toward zero. With floating point a result beyond `GREATEST` is an error.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeAlias

from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.kind import KindLanguage

SMALLEST, LARGEST = -32768, 32767
GREATEST = 1.7e38
"""The largest floating-point number of a format with an exponent of 8 bits."""

Value: TypeAlias = Any
"""A number, int or float, or text, str; which of them is known when a line is read."""
Operation: TypeAlias = Callable[[Value, Value], Value]

_FORMS = {"blank": " %s", "signed": "% s", "spaced": "% s ", "bare": "%s", "field": "%10s"}


def in_range(value: int) -> int:
    """Return the value. Raises Complaint if it does not fit in 16 bits."""
    if SMALLEST <= value <= LARGEST:
        return value
    raise Complaint(Reason.RANGE)


def wrapped(value: int) -> int:
    """Return the value modulo 2**16 as a signed number."""
    return (value - SMALLEST) % (1 << 16) + SMALLEST


def _floating(value: Value) -> Value:
    if -GREATEST <= value <= GREATEST:
        return value
    raise Complaint(Reason.RANGE)


def quotient(left: int, right: int) -> int:
    """Return the quotient, truncated toward zero. Raises Complaint for right 0 or on overflow."""
    return in_range(_whole_quotient(left, right))


def _whole_quotient(left: int, right: int) -> int:
    if not right:
        raise Complaint(Reason.DIVISION)
    whole = abs(left) // abs(right)
    return whole if (left < 0) == (right < 0) else -whole


def _ratio(left: Value, right: Value) -> Value:
    if not right:
        raise Complaint(Reason.DIVISION)
    return _floating(left / right)


def power(left: Value, right: Value) -> Value:
    """Return a power. Raises Complaint if it is not a real number or too large."""
    try:
        return _floating(float(left) ** right)
    except (OverflowError, TypeError, ZeroDivisionError):
        raise Complaint(Reason.RANGE) from None


def _checked_power(left: int, right: int) -> int:
    return in_range(int(left**right)) if right >= 0 else 0


def _wrapped_power(left: int, right: int) -> int:
    return wrapped(pow(left, right, 1 << 16)) if right >= 0 else 0


def _plus(left: int, right: int) -> int:
    value = left + right
    return value if SMALLEST <= value <= LARGEST else in_range(value)


def _minus(left: int, right: int) -> int:
    value = left - right
    return value if SMALLEST <= value <= LARGEST else in_range(value)


def _times(left: int, right: int) -> int:
    value = left * right
    return value if SMALLEST <= value <= LARGEST else in_range(value)


@dataclass(frozen=True, slots=True)
class Arithmetic:
    """How a language calculates.

    apply: the operation for each operator. fit: wraps a result, or complains if it is out of range.
    power: the operation for powers, if the language has them.
    """

    apply: Mapping[str, Operation]
    fit: Callable[[Value], Value]
    power: Operation


_CHECKED = Arithmetic(
    {"+": _plus, "-": _minus, "*": _times, "/": quotient}, in_range, _checked_power
)
_WRAPPED = Arithmetic(
    {
        "+": lambda left, right: wrapped(left + right),
        "-": lambda left, right: wrapped(left - right),
        "*": lambda left, right: wrapped(left * right),
        "/": lambda left, right: wrapped(_whole_quotient(left, right)),
    },
    wrapped,
    _wrapped_power,
)
_FLOATING = Arithmetic(
    {
        "+": lambda left, right: _floating(left + right),
        "-": lambda left, right: _floating(left - right),
        "*": lambda left, right: _floating(left * right),
        "/": _ratio,
    },
    _floating,
    power,
)


def arithmetic(language: KindLanguage) -> Arithmetic:
    """Return how a language calculates."""
    if language.fractions:
        return _FLOATING
    return _WRAPPED if language.overflow == "wraps" else _CHECKED


@lru_cache(maxsize=64)
def number_shower(language: KindLanguage) -> Callable[[Value], bytes]:
    """Return a function that shows a number in the form of a language."""
    form = _FORMS[language.number].replace("% s", "%s")
    signed = language.number in ("signed", "spaced")

    def show(value: Value) -> bytes:
        text = digits_of(value, language.digits)
        shown = form % (" " + text if signed and text[0] != "-" else text)
        return shown.replace(" ", language.blank).encode("latin-1")

    return show


def digits_of(value: Value, digits: int) -> str:
    """Return a number as PRINT writes it, without blanks. digits: the significant ones.

    A number of more digits, or below 0.01, has an exponent; no zero stands in front of a point.
    Source: measured on a large BASIC with floating point, see the table of kinds.
    """
    if value == int(value) and abs(value) < 10 ** (digits or 5):
        return str(int(value))
    text = f"{value:.{digits}g}" if abs(value) >= 0.01 else f"{value:.{digits - 1}e}"
    plain, _, exponent = text.partition("e")
    plain = plain.rstrip("0").removesuffix(".") if "." in plain else plain
    plain = plain.replace("0.", ".", 1) if plain.lstrip("-").startswith("0.") else plain
    return plain + (f"E{exponent}" if exponent else "")
