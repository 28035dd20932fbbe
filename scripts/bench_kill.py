"""kill -9 while somebody types: how much of the typing the next start does not offer.

Each app runs in a terminal of its own and is typed to, key by key with pauses as of a person, until
it is killed at a moment drawn from a seed. What its draft lacks then is lost. A loss is told in
seconds: from the first key that is missing until the kill.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from bench_idle import in_terminal
from bench_python import compiled_environment

from hostlink.app.drafts import Drafts

KILLS = 200
MOST_LOST = "most typing lost by a kill"
WRONG = "kills with a draft that was never typed"
_AT_ONCE = 3
_LONGEST_S = 4.0  # of typing before a kill
_GAPS_S = (0.03, 0.3)  # between two keys
_KEYS = "ABC 0123456789=+\r"


@dataclass(frozen=True, slots=True)
class Loss:
    """What one kill cost. seconds: since the first key that is missing; 0 if none is. keys: how
    many are missing. is_right: the draft begins what was typed."""

    seconds: float
    keys: int
    is_right: bool


def killed(kills: int = KILLS, seed: int = 18) -> list[tuple[str, float, str]]:
    """Return how many apps were killed, and the most and the whole that was lost."""
    if sys.platform == "win32":
        return []
    with tempfile.TemporaryDirectory() as name, ThreadPoolExecutor(_AT_ONCE) as pool:
        folders = [Path(name) / str(number) for number in range(kills)]
        _kill(Path(name) / "first", seed)  # compiles the source, and is not counted
        losses = list(pool.map(_kill, folders, range(seed, seed + kills)))
    return [
        ("kills while typing", kills, "kills"),
        (MOST_LOST, max(loss.seconds for loss in losses), "s"),
        ("kills that lost a key", sum(loss.keys > 0 for loss in losses), "kills"),
        ("keys lost in all", sum(loss.keys for loss in losses), "keys"),
        (WRONG, sum(not loss.is_right for loss in losses), "kills"),
    ]


def _kill(folder: Path, seed: int) -> Loss:
    """Type to an app in a folder of its own and kill it."""
    folder.mkdir()
    held = compiled_environment(folder.parent)
    environment = {
        **{name: value for name, value in held.items() if not name.startswith("HOSTLINK_")},
        "HOSTLINK_ARCHIVE": str(folder / "archive.sqlite3"),
        "HOSTLINK_SETTINGS": str(folder / "settings.toml"),
        "TERM": "xterm-256color",
    }
    choose = random.Random(seed)
    typed: list[tuple[float, str]] = []
    with in_terminal([sys.executable, "-m", "hostlink"], environment, b"so far") as (app, terminal):
        ends = time.monotonic() + choose.uniform(0, _LONGEST_S)
        while (gap := choose.uniform(*_GAPS_S)) < ends - time.monotonic():
            time.sleep(gap)
            key = choose.choice(_KEYS)
            typed.append((time.monotonic(), key))
            os.write(terminal, key.encode("ascii"))
        time.sleep(max(0.0, ends - time.monotonic()))
        if app.poll() is not None:
            raise RuntimeError("hostlink ended before it was killed")
        app.kill()
        at = time.monotonic()
        app.wait()
    return _loss(folder, typed, at)


def _loss(folder: Path, typed: list[tuple[float, str]], at: float) -> Loss:
    left = Drafts(folder / "drafts").left()
    kept = left[0].draft.text if left else ""
    text = "".join(key for _, key in typed).replace("\r", "\n")
    missing = typed[len(kept) :]
    return Loss(at - missing[0][0] if missing else 0.0, len(missing), text.startswith(kept))


if __name__ == "__main__":
    for what, value, unit in killed(int(sys.argv[1]) if sys.argv[1:] else KILLS):
        print(f"{what}: {value:g} {unit}")
