"""Kept runs: finding programs by what they printed, and keys while numbers are drawn.

The archive holds KEPT runs of a hundred programs, each of a few rows of drawn words and numbers;
what is asked are a word and a number, each pair TURNS times. Keys are pressed in the editor of the
app, one after the other, while NUMBERS rows of numbers come to its console in real time, five times
as fast as a wire at 115,200 baud brings them, and are drawn beside it. What the drawing adds to the
time of a key is at most the longest time that it takes rows and the longest that it draws, both in
processor time of the app's thread; keys with and without a drawing stand beside it.
"""

from __future__ import annotations

import asyncio
import os
import random
import statistics
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from bench_app import _until
from bench_report import Row, Section, Target

from hostlink.archive import Archive, Content, Origin, Revision, RunEnd, RunText

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

KEPT, NUMBERS = 10_000, 100_000
QUESTIONS, TURNS = 100, 3
AT_ONCE, EVERY_S = 200, 0.025  # rows: 8,000 a second
FIND_MS, KEY_MS = 30, 50
_WORDS = [
    first + last
    for first in ("HIGH", "LOW", "OLD", "NEW", "FAR", "NEAR", "RED", "DIM")
    for last in ("WATER", "LIGHT", "TIDE", "HOUR", "ROAD", "MOON", "STEP", "BELL")
]


def run(kept: int = KEPT, numbers: int = NUMBERS) -> Section:
    """Measure both in a temporary folder."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["HOSTLINK_PRACTICE"] = str(folder / "practice")
        found = sorted(asked(folder / "runs.sqlite3", kept))
        without, _ = asyncio.run(drawn(folder / "without" / "a.sqlite3", numbers // 10, plot=False))
        keys, held = asyncio.run(drawn(folder / "with" / "a.sqlite3", numbers))
    find = found[int(len(found) * 0.95)]
    figures = {
        f"find in {kept:,} runs, 95 of 100 asks": find,
        "taking rows and drawing, longest": held,
        "median key while numbers are drawn": statistics.median(keys),
        "median key without a drawing": statistics.median(without),
    }
    rows: list[Row] = [
        {"what": what, "value": round(value, 2), "unit": "ms"} for what, value in figures.items()
    ]
    return section_of(rows, find, held, f"{numbers:,} numbers, {len(keys)} keys.")


def section_of(rows: list[Row], find_ms: float, held_ms: float, note: str) -> Section:
    """The section, with its targets."""
    targets = [
        Target.at_most("find by what was printed, ms", find_ms, FIND_MS),
        Target.at_most("a key delayed by the drawing, longest, ms", held_ms, KEY_MS),
    ]
    return Section("runs", rows, targets, (note, ""))


def asked(path: Path, kept: int) -> list[float]:
    """Milliseconds of each ask."""
    draw = random.Random(4)
    with Archive.open(path) as archive:
        with archive.writing("the runs"):
            programs = [_program(archive, number) for number in range(min(100, kept))]
            for number in range(kept):
                rows = [f"{draw.choice(_WORDS)} {draw.randrange(1000)}" for _ in range(12)]
                program = programs[number % len(programs)]
                archive.keep_run(RunText(tuple(rows)), RunEnd(), seconds=1, revision=program)
        times = []
        for _ in range(QUESTIONS):
            question = f"{draw.choice(_WORDS)} {draw.randrange(1000)}"
            for _ in range(TURNS):
                began = time.perf_counter()
                archive.find_printed(question)
                times.append((time.perf_counter() - began) * 1000)
    return times


def _program(archive: Archive, number: int) -> Revision:
    text = f"10 REM {number}\n"
    content = Content(text.encode(), text, text, "practice", "latin-1", 10)
    return archive.keep(f"LAMP{number}", content, Origin("file")).revision


class Watched:
    """Measures the calls of a method. longest: of one call, in milliseconds of its own thread."""

    def __init__(self, owner: type, name: str) -> None:
        self.longest = 0.0
        self._owner, self._name, self._method = owner, name, getattr(owner, name)

    def __enter__(self) -> Watched:
        def call(*values: object) -> object:
            began = time.thread_time()
            try:
                return self._method(*values)
            finally:
                self.longest = max(self.longest, (time.thread_time() - began) * 1000)

        setattr(self._owner, self._name, call)
        return self

    def __exit__(self, *_: object) -> None:
        setattr(self._owner, self._name, self._method)


async def drawn(path: Path, numbers: int, *, plot: bool = True) -> tuple[list[float], float]:
    """Milliseconds from each key to its letter in the editor while numbers come, and the longest
    that the drawing may have delayed one."""
    from hostlink.app.application import DeskApp
    from hostlink.app.widgets.number_plot import NumberPlot

    with (
        Archive.open(path) as archive,
        Watched(NumberPlot, "add") as taking,
        Watched(NumberPlot, "render") as drawing,
    ):
        os.environ["HOSTLINK_SETTINGS"] = str(path.with_suffix(".toml"))  # with drafts of its own
        app = DeskApp(archive, port="practice://plot?fresh")
        async with app.run_test(size=(120, 40)):
            await _until(lambda: app.boards.current is not None and app.boards.current.busy is None)
            if plot:
                app.desk.plotting.toggle()
                await _until(lambda: not app.desk.editor.has_focus)  # the console takes it
            app.desk.editor.focus()
            await _until(lambda: app.desk.editor.has_focus)
            times = await _typed(app, numbers)
            app.shut()
    return times, taking.longest + drawing.longest


async def _typed(app: DeskApp, numbers: int) -> list[float]:
    from textual import events

    times: list[float] = []
    sent, due = 0, time.monotonic()
    attached = app.boards.current
    assert attached is not None and app._driver is not None
    while sent < numbers:
        while sent < numbers and time.monotonic() >= due:
            due += EVERY_S
            some = range(sent, min(sent + AT_ONCE, numbers))
            attached.rows.extend((str(at * 7919 % 1000), False) for at in some)
            sent = some.stop
            attached.on_news()
        before = app.desk.editor.text
        began = time.perf_counter()
        key = events.Key("backspace", None) if before else events.Key("x", "x")
        key.set_sender(app)
        app._driver.send_message(key)
        await _until(lambda before=before: app.desk.editor.text != before)
        times.append((time.perf_counter() - began) * 1000)
    return times
