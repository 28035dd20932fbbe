"""Draw the README's pictures from the app itself: `scripts/start.py --python scripts/pictures.py`.

The time of day, the archive and the practice board are fixed, so that the same code draws the same
pictures; they go to scripts/pictures/.
"""

from __future__ import annotations

import asyncio
import os
import re
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).with_name("pictures")
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


async def _draw(folder: Path) -> None:
    from hostlink.app.application import DeskApp
    from hostlink.archive import Archive

    with Archive.open(folder / "archive.sqlite3", now=lambda: NOON) as archive:
        app = DeskApp(
            archive,
            port="practice://class?time=virtual&fresh",
            opens="shipped:TIDE",
            settings_file=folder / "settings.toml",
            now=lambda: NOON,
        )
        async with app.run_test(size=(110, 34)) as pilot:
            await _until(lambda: app.boards.current is not None and app.boards.current.busy is None)
            await pilot.press("ctrl+l")
            await _until(lambda: any("proven" in said for said in app.said))
            await pilot.press("ctrl+r")
            await _until(lambda: "NAVIGATION" in app.desk.query_one("#transcript").text)
            await _until(lambda: app.boards.current is not None and app.boards.current.busy is None)
            await pilot.press("escape")
            await pilot.pause(0.3)
            _save(app, "desk.svg")
            app.desk.editor.insert("35 LET K=0\n", (3, 0))
            await pilot.press("ctrl+s")
            await _until(lambda: "Kept as TIDE@2." in app.said)
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


def _save(app: Any, name: str) -> None:
    """Save what is on the screen; the names inside it are made the same in every drawing."""
    FOLDER.mkdir(exist_ok=True)
    drawn = _NAMES.sub("terminal-hostlink", app.export_screenshot())
    drawn = _FONTS.sub("", drawn)  # nothing is fetched from elsewhere; any fixed-width font will do
    (FOLDER / name).write_text(drawn, encoding="utf-8", newline="\n")
    print(FOLDER / name)


def main() -> int:
    os.environ["TZ"] = "UTC"
    if hasattr(time, "tzset"):
        time.tzset()
    os.environ.pop("NO_COLOR", None)
    os.environ |= {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
    with tempfile.TemporaryDirectory() as name:
        os.environ["HOSTLINK_PRACTICE"] = str(Path(name) / "practice")
        asyncio.run(_draw(Path(name)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
