"""Bunches of keys, each in one read: none may be lost, and none typed in the wrong place.

A bunch ends what the one before began, types into the listing, goes to another line to type in (by
a letter after Escape or by a key with Ctrl), and types there; all of it in one read of the
terminal's parser. What has to stand where is known from the bunch alone.
"""

from __future__ import annotations

import asyncio
import random
import time
from pathlib import Path
from typing import Any

from hostlink.archive import Archive

BUNCHES = 1_000
WRONG = "bunches with a key lost or misplaced"
_HERE = "ABCXYZ 0123456789=+()"
_THERE = "abcxyz 0123456789"
_WAYS = {
    "find": ("\x1ba", "\x1b\x1b"),
    "console-line": ("\x1bc", "\x1b\x1b"),
    "console-line by Ctrl+T": ("\x14", "\x1b\x1b"),
    "answer": ("\x1bo", "\x1b"),
    "answer by Ctrl+O": ("\x0f", "\x1b"),
}
"""How to get to a line to type in, by its id, and from there back to the listing."""


def bunched(folder: Path, count: int = BUNCHES, seed: int = 18) -> list[tuple[str, float, str]]:
    """Return how many bunches were tried, and in how many a key was lost or misplaced.

    folder: a new one, so that no draft of another app is offered at the start.
    """
    from hostlink.app.application import DeskApp

    wrong: list[str] = []
    times: list[float] = []

    async def story(archive: Archive) -> None:
        app = DeskApp(archive, settings_file=folder / "settings.toml")
        choose = random.Random(seed)
        async with app.run_test(size=(80, 24)):
            await _until(lambda: app.begun)
            back = ""
            for _ in range(count):
                place = choose.choice(tuple(_WAYS))
                way, way_back = _WAYS[place]
                here = _some(choose, _HERE)
                here = here and str(choose.randrange(10)) + here
                there = "x" + _some(choose, _THERE)
                app.desk.editor.load_text("")
                began = time.perf_counter()
                _feed(app, f"{back}{here}{way}{there}")
                good = await _until(
                    lambda here=here, there=there, place=place: (
                        app.desk.editor.text == here and _typed(app, place) == there
                    )
                )
                times.append((time.perf_counter() - began) * 1000)
                if not good:
                    wrong.append(f"{back}{here}{way}{there}")
                _clear(app, place)
                back = way_back
            app.shut()

    folder.mkdir()
    with Archive.open(folder / "archive.sqlite3") as archive:
        asyncio.run(story(archive))
    for bunch in wrong[:5]:
        print(f"wrong after {bunch!r}")
    return [
        ("bunches of keys", count, "bunches"),
        (WRONG, len(wrong), "bunches"),
        ("slowest bunch", max(times), "ms"),
    ]


def _some(choose: random.Random, of: str) -> str:
    return "".join(choose.choice(of) for _ in range(choose.randrange(12)))


def _feed(app: Any, text: str) -> None:
    """Give the app characters as its driver does when a terminal delivers them in one read."""
    from textual._xterm_parser import XTermParser

    parser = XTermParser()
    for event in (*parser.feed(text), *parser.feed("")):
        app.post_message(event)


def _typed(app: Any, place: str) -> str:
    from textual.widgets import Input

    found = app.screen.query(f"#{place.partition(' ')[0]}").results(Input)
    return "".join(each.value for each in found)


def _clear(app: Any, place: str) -> None:
    from textual.widgets import Input

    for each in app.screen.query(f"#{place.partition(' ')[0]}").results(Input):
        each.value = ""


async def _until(is_so: Any, seconds: float = 30.0) -> bool:
    end = time.monotonic() + seconds
    while not is_so():
        if time.monotonic() > end:
            return False
        await asyncio.sleep(0.001)
    return True
