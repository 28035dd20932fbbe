"""The app: how soon it paints, a large archive, a board that floods, and bunches of keys.

First paint is the time from starting the process until the first drawing with the editor in it is
done, against a bare Textual app with the same widgets, run in turn. The large archive has PROGRAMS
programs; a keystroke is its search and the drawing of what it found. The flood is a practice board
in real time at 115,200 baud that sends without end, while a key is pressed in the editor twice a
second. The bunches of keys are those of bench_keys, what app and console take of a core at rest is
measured by bench_idle, what a kill loses of the typing by bench_kill, and keys typed into a listing
of 5,000 lines, in a real terminal, by bench_typing.
"""

from __future__ import annotations

import asyncio
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from bench_keys import BUNCHES, WRONG, bunched
from bench_kill import KILLS, MOST_LOST, killed
from bench_kill import WRONG as WRONG_DRAFTS
from bench_python import compiled_environment
from bench_report import Row, Section, Target
from bench_typing import KEYS, SLOWEST, typed

from hostlink.archive import Archive, Content, Origin

PROGRAMS = 10_000
FLOOD_S = 60.0
RUNS = 9
IDLE_S, SETTLE_S = 30.0, 10.0
PAINT_LIMIT, KEY_MS, ANSWER_MS, GROWTH_MB, IDLE_PERCENT = 1.3, 50, 100, 20, 1
LOST_S = 2

BARE = '''
import time
from textual.app import App
from textual.containers import Container, Horizontal, Vertical
from textual.scroll_view import ScrollView
from textual.widget import Widget
from textual.widgets import Input, Label, Static, TextArea

class Bare(App):
    CSS = """
    Static { height: 1; }
    #ruler { height: 2; }
    #ledger { width: 16; height: 1fr; }
    Horizontal { height: 1; }
    #text { height: 1fr; }
    #band { height: 8; }
    #console { display: none; }
    """
    def compose(self):
        yield Static("board")
        yield Widget(id="ruler")
        with Container():
            with Vertical():
                with Horizontal():
                    yield Static("name")
                    yield Static("cost")
                with Horizontal(id="text"):
                    yield TextArea("10 END")
                    yield Widget(id="ledger")
                yield Static("finding")
            with Vertical(id="band"):
                with Vertical():
                    yield Static("archive")
                    with Horizontal():
                        yield Label("find")
                        yield Input()
                    yield ScrollView()
                with Vertical(id="console"):
                    yield Static("console")
                    yield ScrollView()
                    with Horizontal():
                        yield Label("")
                        yield Input()
        yield Static("told")
    painted = 0.0
    def _display(self, screen, renderable):
        super()._display(screen, renderable)
        drawn = any(one.size for one in screen.query("TextArea"))
        if renderable is not None and drawn and not self.painted:
            self.painted = time.time()
            self.call_later(self.exit)

app = Bare()
app.run(headless=True, size=(80, 24))
print(app.painted)
raise SystemExit(app.return_code)
'''
OURS = """
import sys
import time
from pathlib import Path
from hostlink.app.start import app_class

def open_archive():
    from hostlink.archive import Archive
    return Archive.open(Path(sys.argv[1]))

class Ours(app_class()):
    painted = 0.0
    def _display(self, screen, renderable):
        super()._display(screen, renderable)
        drawn = any(one.size for one in screen.query("TextArea"))
        if renderable is not None and drawn and not self.painted:
            self.painted = time.time()
            self.call_later(self.exit)

app = Ours(open_archive)
app.run(headless=True, size=(80, 24))
print(app.painted)
raise SystemExit(app.return_code)
"""


def run(
    programs: int = PROGRAMS,
    flood_s: float = FLOOD_S,
    runs: int = RUNS,
    bunches: int = BUNCHES,
    idle_for: tuple[float, float] = (IDLE_S, SETTLE_S),
    kills: int = KILLS,
    keys_typed: int = KEYS,
) -> Section:
    """Measure all parts in a temporary folder.

    bunches: of keys, as in bench_keys. idle_for: seconds measured at rest, and seconds before that.
    kills: of apps that are typed to, as in bench_kill. keys_typed: as in bench_typing.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["HOSTLINK_PRACTICE"] = str(folder / "practice")
        os.environ["HOSTLINK_SETTINGS"] = str(folder / "settings.toml")
        paint = first_paint(folder / "small.sqlite3", runs)
        large = large_archive(folder / "large.sqlite3", programs)
        flood = flooded(folder / "flood.sqlite3", flood_s)
        keys = bunched(folder / "keys", bunches)
        at_rest = resting(*idle_for)
        kill = killed(kills)
        typing = typed(keys=keys_typed)
    rows: list[Row] = [
        {"what": what, "value": round(value, 3), "unit": unit}
        for what, value, unit in (*paint, *large, *flood, *keys, *typing, *at_rest, *kill)
    ]
    values = {str(row["what"]): float(str(row["value"])) for row in rows}
    targets = [
        Target.at_most("first paint, times a bare app", values["first paint, share"], PAINT_LIMIT),
        Target.at_most("the list opens, ms", values["the list opens"], KEY_MS),
        Target.at_most("slowest keystroke of the search, ms", values["slowest keystroke"], KEY_MS),
        Target.at_most("key during a flood, slowest, ms", values["slowest key"], ANSWER_MS),
        Target.at_most("bunches with a key lost or misplaced", values[WRONG], 0),
        Target.at_most("memory growth during a flood, MB", values["memory growth"], GROWTH_MB),
        *(Target.at_most(f"{what}, {unit}", value, IDLE_PERCENT) for what, value, unit in at_rest),
        *(
            Target.at_most(f"{what}, {unit}", values[what], limit)
            for what, unit, limit in (
                (SLOWEST, "ms", KEY_MS),
                (MOST_LOST, "s", LOST_S),
                (WRONG_DRAFTS, "kills", 0),
            )
            if what in values
        ),
    ]
    notes = (f"{programs:,} programs; {flood_s:g} s of flood; median of {runs} first paints.", "")
    return Section("app", rows, targets, notes)


Measured = list[tuple[str, float, str]]


def first_paint(archive: Path, runs: int) -> Measured:
    """Seconds from the start of a process to its first drawing, run in turn.

    The first run of each is not counted: it compiles the source.
    """
    with Archive.open(archive):
        pass
    environment = compiled_environment(archive.parent)
    times: dict[Path, list[float]] = {}
    for name, code in (("bare", BARE), ("ours", OURS)):
        script = archive.with_name(f"{name}.py")
        script.write_text(code, encoding="utf-8")
        times[script] = []
    for _ in range(runs + 1):
        for script, held in times.items():
            began = time.time()
            done = subprocess.run(
                [sys.executable, str(script), str(archive)],
                check=True,
                capture_output=True,
                env=environment,
                timeout=60,
            )
            held.append(float(done.stdout) - began)
    bare, ours = (statistics.median(held[1:]) for held in times.values())
    return [
        ("bare app", bare * 1000, "ms"),
        ("hostlink", ours * 1000, "ms"),
        ("first paint, share", ours / bare, "times"),
    ]


def resting(seconds: float, settle_s: float) -> Measured:
    """What app and console take of a core; nothing on a system without pseudo-terminals."""
    if sys.platform == "win32":
        return []
    from bench_idle import idle

    return idle(seconds, settle_s)


def _fill(archive: Archive, programs: int) -> None:
    for number in range(programs):
        text = f'10 PRINT "LAMP {number}"\n20 LET A={number % 97}\n30 GOTO 10\n'
        content = Content(text.encode(), text, text, "practice", "latin-1", 60)
        archive.keep(f"LAMP{number:05}", content, Origin("file", "bench"))


def large_archive(path: Path, programs: int) -> Measured:
    """Milliseconds to open the list and to answer each keystroke of a search."""
    from hostlink.app.application import DeskApp

    times: list[float] = []
    opened: list[float] = []

    async def story(archive: Archive) -> None:
        app = DeskApp(archive)
        async with app.run_test(size=(120, 40)) as pilot:
            await _until(lambda: app.begun)
            shelf, screen = app.desk.shelf, app.screen

            def draw() -> None:
                screen._compositor.render_strips()

            await pilot.app.workers.wait_for_complete()
            await pilot.pause()
            opened.append(_ms(lambda: (shelf.renew(), draw())))
            await pilot.app.workers.wait_for_complete()
            await pilot.pause()
            for question in ("lamp0777", "goto 10", "print lamp 5", "zzz"):
                for length in range(1, len(question) + 1):
                    word = question[:length]
                    times.append(_ms(lambda word=word: (shelf.search(word), draw())))
            app.shut()

    with Archive.open(path) as archive:
        _fill(archive, programs)
        asyncio.run(story(archive))
    return [
        ("the list opens", opened[0], "ms"),
        ("median keystroke", statistics.median(times), "ms"),
        ("slowest keystroke", max(times), "ms"),
    ]


def _ms(work: Any) -> float:
    began = time.perf_counter()
    work()
    return (time.perf_counter() - began) * 1000


def flooded(path: Path, seconds: float) -> Measured:
    """The slowest key in milliseconds, and what memory grew by in MB, during a flood."""
    from textual import events

    from hostlink.app.application import DeskApp

    times: list[float] = []
    memory: list[float] = []
    rows: list[int] = []

    async def story(archive: Archive) -> None:
        port = "practice://flood?fresh&baud=115200&flood_after_bytes=60"
        app = DeskApp(archive, port=port, baud=115_200)
        async with app.run_test(size=(120, 40)):
            await _until(lambda: app.boards.current is not None and app.boards.current.busy is None)
            attached = app.boards.current
            assert attached is not None
            # Straight to the board: the line fails in the flood that it sets off, as it should.
            attached.talk("typing", lambda bench: bench.enter("PRINT " + "1+" * 30 + "1"))
            await _until(lambda: bool(app.desk.query_one("#transcript").text))
            await asyncio.sleep(1.0)
            memory.append(_memory_mb())
            end = time.monotonic() + seconds
            while time.monotonic() < end:
                before = app.desk.editor.text
                began = time.perf_counter()
                key = events.Key("x", "x")
                key.set_sender(app)
                app._driver.send_message(key)
                await _until(lambda before=before: app.desk.editor.text != before)
                times.append((time.perf_counter() - began) * 1000)
                await asyncio.sleep(0.5)
            memory.append(_memory_mb())
            rows.append(len(app.desk.query_one("#transcript").text))
            app.shut()

    with Archive.open(path) as archive:
        asyncio.run(story(archive))
    return [
        ("median key", statistics.median(times), "ms"),
        ("slowest key", max(times), "ms"),
        ("memory growth", max(0.0, memory[1] - memory[0]), "MB"),
        ("transcript kept", rows[0], "characters"),
    ]


async def _until(is_so: Any, seconds: float = 30.0) -> None:
    end = time.monotonic() + seconds
    while not is_so():
        if time.monotonic() > end:
            raise RuntimeError("the app did not answer in 30 s")
        await asyncio.sleep(0.001)


def _memory_mb() -> float:
    """Resident memory of this process in MB; the most it ever was where nothing else is told."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except OSError:
        import resource

        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
