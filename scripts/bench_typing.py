"""Keys typed into a long listing, in a real terminal: from a key's byte until it is drawn.

The app runs in a terminal of its own with a listing of LINES lines. A remark is typed, with pauses
as of a person, some of them long enough for the review of the whole and for the draft to be
written. A key is drawn once the terminal got what was typed of the remark so far.
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

from bench_idle import in_terminal
from bench_python import compiled_environment

LINES, KEYS = 5_000, 200
SLOWEST = "slowest key in a long listing"
_GAPS_S = (0.03, 1.6)  # between two keys; a review begins after PAUSE_S of app/desk/reviewing.py
_ON_ONE_LINE = 25
_LONGEST_S = 30.0
_OPEN = "import sys; from hostlink.app.start import open_app; open_app(opens=sys.argv[1])"


class _Drawn:
    """What a terminal has got since it was last asked."""

    def __init__(self) -> None:
        self._got = b""
        self._change = threading.Condition()

    def take(self, data: bytes) -> None:
        """Take what was drawn; called in the thread that reads."""
        with self._change:
            self._got += data
            self._change.notify()

    def forget(self) -> None:
        """Forget what was drawn so far."""
        with self._change:
            self._got = b""

    def wait_for(self, text: bytes) -> None:
        """Wait until a text was drawn."""
        with self._change:
            if not self._change.wait_for(lambda: text in self._got, _LONGEST_S):
                raise RuntimeError(f"{text.decode()!r} was not drawn in {_LONGEST_S:g} s")


def typed(lines: int = LINES, keys: int = KEYS, seed: int = 18) -> list[tuple[str, float, str]]:
    """Return the milliseconds of the median and of the slowest key; nothing without terminals."""
    if sys.platform == "win32":
        return []
    with tempfile.TemporaryDirectory() as name:
        times_ms = _typed(Path(name), lines, keys, random.Random(seed))
    return [
        ("median key in a long listing", statistics.median(times_ms), "ms"),
        (SLOWEST, max(times_ms), "ms"),
    ]


def _typed(folder: Path, lines: int, keys: int, choose: random.Random) -> list[float]:
    listing = folder / "long.bas"
    rows = (f"{number} LET A=A+{number}: PRINT A\n" for number in range(100, 100 + lines))
    listing.write_text("10 REM BEGIN\n" + "".join(rows), encoding="ascii")
    held = compiled_environment(folder)
    environment = {
        **{name: value for name, value in held.items() if not name.startswith("HOSTLINK_")},
        "HOSTLINK_ARCHIVE": str(folder / "archive.sqlite3"),
        "HOSTLINK_SETTINGS": str(folder / "settings.toml"),
        "TERM": "xterm-256color",
    }
    drawn, times_ms = _Drawn(), []
    command = [sys.executable, "-c", _OPEN, str(listing)]
    with in_terminal(command, environment, b"of 999 bytes", drawn.take) as (_, terminal):
        remark = ""
        for at in range(keys):
            if at % _ON_ONE_LINE == 0:
                drawn.forget()
                begin = f"{11 + at // _ON_ONE_LINE} REM QQ"
                os.write(terminal, (f"\r{begin}" if at else begin).encode("ascii"))
                drawn.wait_for(b"QQ")
                remark = "QQ"
            time.sleep(choose.uniform(*_GAPS_S))
            remark += choose.choice("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
            drawn.forget()
            began = time.perf_counter()
            os.write(terminal, remark[-1:].encode("ascii"))
            drawn.wait_for(remark.encode("ascii"))
            times_ms.append((time.perf_counter() - began) * 1000)
    return times_ms


if __name__ == "__main__":
    for what, value, unit in typed():
        print(f"{what}: {value:.1f} {unit}")
