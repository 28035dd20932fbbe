"""What a refusal advises can be followed: every command that a message names is run, on the board
and the archive as the message left them, and none is refused for a reason that the message could
have told."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

RESTARTING = "practice://class?time=virtual&restarts_on_open=yes"
SMALL = "practice://small?time=virtual&program_bytes=300"
# What a person puts in the place of words in capitals, in this order.
PLACES = {"NEW-FILE": "new.bas", "NAME": "OURS"}
# Status 1 of these is what they found, not a refusal.
FINDERS = ("review", "shrink", "compare")


@pytest.fixture(autouse=True)
def files(place: Path) -> None:
    """Listings as they come: one with a jump to nowhere, quotes of a forum, too long, our own."""
    long = "".join(f'{n}0 PRINT "LINE NUMBER {n} OF MANY"\n' for n in range(1, 60))
    for name, text in {
        "astray.bas": '10 PRINT "A"\n20 GOTO 99\n',
        "forum.bas": "10 PRINT “A”\n20 END\n",
        "long.bas": long,
        "fits.bas": "".join(f"{n}0 REM AND A REMARK OF LINE {n}\n" for n in range(1, 16)),
        "ours.bas": '10 PRINT "OURS"\n20 GOTO 10\n',
        "other.bas": '10 PRINT "OTHER"\n',
    }.items():
        (place / name).write_text(text, encoding="utf-8")


def advised(told: str, words: tuple[str, ...]) -> list[str]:
    """The commands that a message names, and the command itself with the options it asks for."""
    begin = re.search(r"^(hostlink: |Left out: )", told, re.MULTILINE)
    assert begin is not None
    said = " ".join(told[begin.start() :].split())
    found = re.findall(r"`hostlink ([^`]+)`", said)
    rest = re.sub(r"`[^`]*`", "", said)
    for option in re.findall(r"\bwith (--[a-z-]+(?: [A-Z]+\b)?)(?! or)", rest):
        found.append(f"{shlex.join(words)} {option}")
    return list(dict.fromkeys(found))


# Commands before, the command that is refused, and how many ways on its message names.
SITUATIONS: list[tuple[tuple[str, ...], str, int]] = [
    ((), "load astray.bas", 1),
    ((), "load forum.bas", 2),
    ((), "load long.bas", 1),
    ((), f"load fits.bas --port {SMALL}", 2),
    (("load ours.bas",), f"save --port {RESTARTING}", 1),
    (("load ours.bas", "restart --yes"), "save", 0),
    (("load ours.bas", "store A", "restart --yes", "recall A", "retire OURS"), "save", 0),
    (("load ours.bas",), "restart", 1),
    (("load ours.bas", "give OURS -o given"), "give OURS -o given", 1),
    (("load ours.bas", "give OURS -o given.zip"), "give OURS -o given.zip", 1),
    (("load ours.bas", "sheet OURS -o page.html"), "sheet OURS -o page.html", 1),
    (("load ours.bas", "archive export bag"), "keep bag", 1),
    (("load ours.bas",), "show OURS@9", 1),
    (("load ours.bas",), "show rescue@9", 1),
    (("load ours.bas",), "load other.bas --record wire.txt", 0),
    (("load ours.bas --record wire.txt",), "load other.bas --record wire.txt", 1),
    ((), "load ours.bas --port /dev/no-such-port", 1),
    ((), "card practice", 0),
    ((), "backup", 0),
]


@pytest.mark.parametrize(("before", "words", "ways"), SITUATIONS, ids=lambda each: str(each))
def test_what_a_refusal_advises_can_be_followed(
    hostlink: Callable, copies: Callable, before: tuple[str, ...], words: str, ways: int
) -> None:
    """Each of the ways on is taken from the same state; where a message names none, none is due."""
    for line in before:
        assert hostlink(*shlex.split(line)).status == 0, line
    told = hostlink(*shlex.split(words))
    print(told.err)
    ways_on = advised(f"{told.err}hostlink: ", tuple(shlex.split(words)))
    assert len(ways_on) == ways, ways_on
    again = copies()
    for way in ways_on:
        next(again)
        for place, value in PLACES.items():
            way = way.replace(place, value)
        ended = hostlink(*shlex.split(way))
        assert ended.status == 0 or (ended.status == 1 and way.startswith(FINDERS)), (way, ended)
    next(again, None)
