"""One real run in a real terminal: start, load, save, leave. Needs tmux, which CI has."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hostlink.archive import Archive

pytestmark = pytest.mark.skipif(
    shutil.which("tmux") is None and not os.environ.get("HOSTLINK_CI"),
    reason="tmux is not installed (on Debian: apt-get install tmux)",
)
DEADLINE_S = 30.0


class Terminal:
    """A terminal of 80 by 24 that a program runs in."""

    def __init__(self, folder: Path) -> None:
        self._socket = str(folder / "tmux")

    def run(self, *words: str) -> str:
        done = subprocess.run(
            ["tmux", "-S", self._socket, *words],
            capture_output=True,
            encoding="utf-8",
            check=True,
            timeout=DEADLINE_S,
        )
        return done.stdout

    def press(self, *keys: str) -> None:
        self.run("send-keys", "-t", "desk", *keys)

    def text(self) -> str:
        return self.run("capture-pane", "-p", "-t", "desk")

    def until(self, is_so: Callable[[str], bool]) -> str:
        """Look at the screen until something stands there; the test fails where it never does."""
        end = time.monotonic() + DEADLINE_S
        while not is_so(text := self.text()):
            assert time.monotonic() < end, text
            time.sleep(0.05)
        return text


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    opened = Terminal(tmp_path)
    places = {
        "HOSTLINK_ARCHIVE": "archive.sqlite3",
        "HOSTLINK_PRACTICE": "practice",
        "HOSTLINK_SETTINGS": "settings.toml",
    }
    variables = [f"{name}={tmp_path / file}" for name, file in places.items()]
    opened.run(
        *("new-session", "-d", "-s", "desk", "-x", "80", "-y", "24"),
        *("env", "-u", "NO_COLOR", "-u", "HOSTLINK_PORT", *variables),
        # The shell outlives the program and tells its status; tmux itself at times does not.
        *("sh", "-c", '"$0" -m hostlink practice; echo "ended with status $?"; exec cat'),
        sys.executable,
    )
    yield opened
    subprocess.run(["tmux", "-S", opened._socket, "kill-server"], check=False)


def test_a_newcomer_starts_loads_saves_and_leaves(terminal: Terminal, tmp_path: Path) -> None:
    """In a terminal of 80 by 24, in real time: the listing goes in proven and comes out proven."""
    terminal.until(lambda text: "holds no program" in text and "the shipped TIDE" in text)
    terminal.press("C-l")
    terminal.until(lambda text: "TIDE@1 is on the board, proven" in text)
    terminal.press("C-g")
    terminal.until(lambda text: "proven by 2 captures" in text)
    terminal.press("C-q")
    terminal.until(lambda text: "ended with status 0" in text)
    with Archive.open(tmp_path / "archive.sqlite3", read_only=True) as archive:
        (revision,) = archive.history("TIDE")
        jobs = [event.job for event in archive.events() if event.outcome == "done"]
    assert revision.size_bytes == 609
    assert jobs[:2] == ["save", "load"]
