"""A direct command that damage turned into a line of the program, and how to know it again.

Where a board does not echo, or its typing can be taken back neither by a key nor by erasing, a
command whose first letter arrives as a digit is stored: `LIST` becomes line 3, `IST`. Nobody writes
such a line, so what is one is ours. (The first letter arrives as a digit with about 1 damaged byte
in 75: a third of the damage are flips, 10 of 255 of which lead to a digit at most.)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import SequenceMatcher

from hostlink.listing.parse import Line

_SHORTEST = 2  # letters that must be left of a command
_LONG = 6  # letters from which a second damage is allowed for
_ALIKE = 0.75


def misheard(lines: Mapping[int, Line], typed: Iterable[str]) -> tuple[int, str] | None:
    """The number of a line that is one of the commands typed, less its first letter, and which."""
    for number, line in lines.items():
        text = _plain(line.text)
        if number >= 10 or len(text) < _SHORTEST:
            continue
        for command in typed:
            whole = _plain(command)
            if text == whole[1:] or _is_more_like(text, whole[1:], whole):
                return number, command
    return None


def _is_more_like(text: str, tail: str, whole: str) -> bool:
    """Whether a text is much like a long command less its first letter, more than like all of it.

    Somebody's own line, even a mistyped one, begins with the first letter too.
    """
    if len(tail) < _LONG:
        return False
    ratio = SequenceMatcher(None, text, tail, autojunk=False).ratio()
    return ratio >= _ALIKE and ratio > SequenceMatcher(None, text, whole, autojunk=False).ratio()


def _plain(text: str) -> str:
    """Without what a board may change of a line that it stores."""
    return "".join(text.split()).upper()
