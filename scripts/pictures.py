"""Draw the README's pictures from the app itself: `scripts/start.py --python scripts/pictures.py`.

The time of day, the archive and the practice board are fixed, so that the same code draws the same
pictures; they go to scripts/pictures/. load.svg moves: it shows a load from before it to its proof.
"""

from __future__ import annotations

import asyncio
import os
import re
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from unittest import mock

from moving_picture import moving_picture

FOLDER = Path(__file__).with_name("pictures")
SMALL = (80, 24)
_LINES_A_FRAME = 4
NOON = datetime(2031, 5, 1, 12, 0, tzinfo=UTC)
_NAMES = re.compile(r"terminal-\d+")
_TOO_LONG = "".join(
    f"{n} REM LAMP NUMBER {n}\n{n + 5} LET A = {n} + A\n" for n in range(10, 310, 10)
)
_FONTS = re.compile(r"@font-face \{.*?\}\s*|<!--.*?-->\s*", re.DOTALL)


async def _until(is_so: Callable[[], Any]) -> None:
    end = time.monotonic() + 30
    while not is_so():
        if time.monotonic() > end:
            raise RuntimeError("the app did not come so far in 30 s")
        await asyncio.sleep(0.02)


def picture_app(archive: Any, folder: Path, board: str = "class") -> Any:
    """Return an app that looks the same whenever and wherever it is drawn.

    It opens a shipped program at noon, with a new practice board in virtual time and no settings.
    archive: an open archive, whose clock stands at NOON too. folder: has no settings.toml. board:
    the name of the practice board.
    """
    from hostlink.app.application import DeskApp

    return DeskApp(
        archive,
        port=f"practice://{board}?time=virtual&fresh",
        opens="shipped:TIDE",
        settings_file=folder / "settings.toml",
        now=lambda: NOON,
    )


def _is_idle(app: Any) -> bool:
    return app.boards.current is not None and app.boards.current.busy is None


async def _draw(folder: Path) -> None:
    from hostlink.archive import Archive

    with Archive.open(folder / "archive.sqlite3", now=lambda: NOON) as archive:
        app = picture_app(archive, folder)
        async with app.run_test(size=(110, 34)) as pilot:
            await _until(lambda: _is_idle(app))
            await pilot.press("ctrl+l")
            await _until(lambda: any("proven" in said for said in app.said))
            await pilot.press("f9")
            await _until(lambda: "NAVIGATION" in app.desk.query_one("#transcript").text)
            await _until(lambda: _is_idle(app))
            await pilot.press("escape")
            await pilot.pause(0.3)
            _save(app, "desk.svg")
            app.desk.editor.insert("35 LET K=0\n", (3, 0))
            await pilot.press("ctrl+s")
            await _until(lambda: any("Kept as TIDE@2." in said for said in app.said))
            app.use_theme("light")
            await pilot.press("escape", "v")
            await pilot.pause(0.3)
            _save(app, "revisions.svg")
            await pilot.press("escape")
            app.use_theme("dark")
            app.desk.editor.load_text(_TOO_LONG)
            await pilot.press("escape", "z")
            await pilot.pause(0.3)
            _save(app, "shrinking.svg")
            app.shut()


class _Steps:
    """Holds a job after each of its events until that has been drawn."""

    def __init__(self) -> None:
        self.reached, self.on = threading.Event(), threading.Event()
        self.ended = False

    def hold(self, emit: Callable[[Any, Any], None]) -> Callable[[Any, Any], None]:
        """Return what does the same with an event of an attached board as `emit`, then waits."""

        def emit_and_wait(attached: Any, event: Any) -> None:
            emit(attached, event)
            busy = attached.busy
            if not self.ended and busy is not None and busy.name.startswith("Loading"):
                self.reached.set()
                self.on.wait(60)
                self.on.clear()

        return emit_and_wait

    def end(self) -> None:
        """Hold nothing any more."""
        self.ended = True
        self.on.set()


def _moment(progress: Any) -> object:
    """Return what a load has reached, of which one frame is taken; 0 for what needs none."""
    if progress.phase.startswith("Reading"):
        return progress.phase
    return len(progress.sent) // _LINES_A_FRAME


async def _record_load(folder: Path) -> list[Any]:
    """Return frames of a load: before it, reading, every few lines, reading back, proven."""
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.archive import Archive

    steps = _Steps()
    frames: list[Any] = []
    with (
        Archive.open(folder / "archive.sqlite3", now=lambda: NOON) as archive,
        mock.patch.object(AttachedBoard, "_emit", steps.hold(AttachedBoard._emit)),
    ):
        app = picture_app(archive, folder)
        async with app.run_test(size=SMALL) as pilot:

            async def take() -> None:
                app.desk.editor.cursor_blink = False
                app.desk.shelf.renew_if_changed()
                await pilot.pause()
                await pilot.pause()
                frames.append(app.screen._compositor.render_update(full=True, simplify=True))

            await _until(lambda: _is_idle(app))
            await pilot.pause(0.3)
            await take()
            await pilot.press("ctrl+l")
            last: object = 0
            while not any("proven" in said for said in app.said):
                await pilot.pause()
                if steps.reached.is_set():
                    steps.reached.clear()
                    app.drain()
                    moment = _moment(app.boards.current.busy.progress)
                    if moment not in (0, last):
                        last = moment
                        await take()
                    steps.on.set()
            await take()
            app.shut()
    return frames


async def moving_load(folder: Path) -> str:
    """Return the moving picture of a load, as SVG. folder: for the archive and the settings."""
    frames = await _record_load(folder)
    times = [0.9, 0.6, *[0.3] * (len(frames) - 4), 0.7, 2.4]
    title = "A load: lines are sent, read back, and proven, each with its mark beside the listing"
    return moving_picture(frames, times, SMALL, title)


def _save(app: Any, name: str) -> None:
    """Save what is on the screen; the names inside it are made the same in every drawing."""
    drawn = _NAMES.sub("terminal-hostlink", app.export_screenshot())
    drawn = _FONTS.sub("", drawn)  # nothing is fetched from elsewhere; any fixed-width font will do
    _write(name, drawn)


def _write(name: str, drawn: str) -> None:
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / name).write_text(drawn, encoding="utf-8", newline="\n")
    print(FOLDER / name)


@contextmanager
def new_place() -> Iterator[Path]:
    """Give the process the time zone, terminal and practice boards that pictures are drawn for.

    Returns an empty folder for archive and settings.
    """
    here = {"TZ": "UTC", "TERM": "xterm-256color", "COLORTERM": "truecolor"}
    with tempfile.TemporaryDirectory() as name, mock.patch.dict(os.environ, here):
        os.environ.pop("NO_COLOR", None)
        os.environ["HOSTLINK_PRACTICE"] = str(Path(name) / "practice")
        if hasattr(time, "tzset"):
            time.tzset()
        yield Path(name)


def main() -> int:
    with new_place() as folder:
        asyncio.run(_draw(folder))
    with new_place() as folder:
        _write("load.svg", asyncio.run(moving_load(folder)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
