"""The functions that a practice board's BASIC may have, besides RND and the free memory.

A kind's language says which of them it has. Names and meanings: ECMA-55, section 8; those for text
as large BASICs have them, common practice, no source.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

from hostlink.practice.arithmetic import GREATEST
from hostlink.practice.complaint import Complaint, Reason

_NUMBER = re.compile(r"[ \t]*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:E[+-]?[0-9]{1,2})?")


def number_in(text: str) -> float | int:
    """Return the number at the start of a text, 0 if there is none."""
    found = _NUMBER.match(text)
    return plain(float(found[0])) if found else 0


def plain(value: float) -> float | int:
    """Return a number, as an int if it is whole. Raises Complaint if it is too large."""
    if abs(value) > GREATEST:
        raise Complaint(Reason.RANGE)
    return int(value) if value == int(value) else value


def _part(text: str, start: float, count: float = 255) -> str:
    if start < 1 or count < 0:
        raise Complaint(Reason.RANDOM)
    return text[int(start) - 1 : int(start) - 1 + int(count)]


def _limited(function: Callable[[float], float]) -> Callable[[float], float]:
    def call(value: float) -> float:
        try:
            return function(value)
        except (OverflowError, ValueError):
            raise Complaint(Reason.RANDOM) from None

    return call


FUNCTIONS: dict[str, tuple[str, Callable[..., Any]]] = {
    "ABS": ("n", abs),
    "INT": ("n", math.floor),
    "SGN": ("n", lambda value: (value > 0) - (value < 0)),
    "SQR": ("n", _limited(math.sqrt)),
    "EXP": ("n", _limited(math.exp)),
    "LOG": ("n", _limited(math.log)),
    "SIN": ("n", math.sin),
    "COS": ("n", math.cos),
    "TAN": ("n", math.tan),
    "ATN": ("n", math.atan),
    "LEN": ("t", len),
    "ASC": ("t", lambda text: ord(text[0]) if text else 0),
    "VAL": ("t", number_in),
    "STR$": ("n", lambda value: f"{value:.6g}" if value < 0 else f" {value:.6g}"),
    "CHR$": ("n", lambda code: chr(int(code) & 255)),
    "LEFT$": ("tn", lambda text, count: _part(text, 1, count)),
    "RIGHT$": ("tn", lambda text, count: _part(text, max(1, len(text) - int(count) + 1), count)),
    "MID$": ("tnn", _part),
}
"""Name to what it takes, "n" a number and "t" a text, and what it returns. MID$ may leave out its
last number."""

TEXT_FUNCTIONS = {name for name, (takes, _) in FUNCTIONS.items() if name[-1] == "$" or "t" in takes}
"""Those that take or return text."""
