"""Recognise a direct command that damage turned into a line of the program.

On a board without echo, or one whose typed characters cannot be erased, a command whose first
letter arrives as a digit is stored: `LIST` becomes line 3, `IST`. Nobody writes such a line, so it
is one of hostlink's commands. (About 1 damaged byte in 75 does that: a third of the damage is bit
flips, and at most 10 of 255 flips lead to a digit.)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import SequenceMatcher

from hostlink.listing.parse import Line

_SHORTEST = 2  # letters that must be left of a command
_LONG = 6  # letters of a command in which a second one may be damaged
_ALIKE = 0.75


def find_misheard_command(
    lines: Mapping[int, Line], typed: Iterable[str]
) -> tuple[int, str] | None:
    """Find a line that is a typed command without its first letter: its number and command."""
    for number, line in lines.items():
        text = _plain(line.text)
        if number >= 10 or len(text) < _SHORTEST:
            continue
        for command in typed:
            whole = _plain(command)
            tail = whole[1:]
            if len(tail) >= _SHORTEST and text[0] in tail[:2] and _is_much_like(text, tail, whole):
                return number, command
    return None


def after_a_digit(
    lines: Mapping[int, Line], typed: Iterable[str], own: Mapping[int, Line]
) -> tuple[int, str] | None:
    """Find a line that is a whole typed command after a digit: its number and the command.

    The digit was on the line already. A line whose number is in `own` belongs to the program.
    """
    whole = {_plain(command): command for command in typed}
    for number, line in lines.items():
        if number < 10 and number not in own and (command := whole.get(_plain(line.text))):
            return number, command
    return None


def _is_much_like(text: str, tail: str, whole: str) -> bool:
    if text == tail[1:] or (text[0] == tail[0] and _differ_in_one(text, tail)):
        return text[0] != whole[0]
    alike = SequenceMatcher(None, text, tail, autojunk=False).ratio()
    entire = SequenceMatcher(None, text, whole, autojunk=False).ratio()
    return len(tail) >= _LONG and alike >= _ALIKE and alike > entire


def _differ_in_one(text: str, other: str) -> bool:
    """Return whether two texts are equal or differ in one character."""
    while text and other and text[0] == other[0]:
        text, other = text[1:], other[1:]
    while text and other and text[-1] == other[-1]:
        text, other = text[:-1], other[:-1]
    return len(text) <= 1 and len(other) <= 1


def _plain(text: str) -> str:
    """Return a line without anything that a board may change when it stores it."""
    return "".join(text.split()).upper()
