"""A direct command that damage turned into a line of the program, and how to know it again.

Where a board does not echo, or its typing can be taken back neither by a key nor by erasing, a
command whose first letter arrives as a digit is stored: `LIST` becomes line 3, `IST`. Nobody writes
such a line, so what is one is ours. (The first letter arrives as a digit with about 1 damaged byte
in 75: a third of the damage are flips, 10 of 255 of which lead to a digit at most.)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from hostlink.listing.parse import Line

_SHORTEST = 2  # letters that must be left of a command


def misheard(lines: Mapping[int, Line], typed: Iterable[str]) -> tuple[int, str] | None:
    """The number of a line that is one of the commands typed, less its first letter, and which."""
    tails = {_plain(command[1:]): command for command in typed}
    for number, line in lines.items():
        tail = _plain(line.text)
        if number < 10 and len(tail) >= _SHORTEST and tail in tails:
            return number, tails[tail]
    return None


def _plain(text: str) -> str:
    """Without what a board may change of a line that it stores."""
    return "".join(text.split()).upper()
