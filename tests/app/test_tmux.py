"""One real run in a real terminal: start, load, save, leave. Needs tmux, which CI has."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hostlink.archive import Archive


def test_a_newcomer_starts_loads_saves_and_leaves(terminal: Any, tmp_path: Path) -> None:
    """In a terminal of 80 by 24, in real time: the listing goes in proven and comes out proven."""
    places = {
        "HOSTLINK_ARCHIVE": "archive.sqlite3",
        "HOSTLINK_PRACTICE": "practice",
        "HOSTLINK_SETTINGS": "settings.toml",
    }
    variables = [f"{name}={tmp_path / file}" for name, file in places.items()]
    terminal.start(
        *(80, 24),
        *("env", "-u", "NO_COLOR", "-u", "HOSTLINK_PORT", *variables),
        # The shell outlives the program and tells its status; tmux itself at times does not.
        *("sh", "-c", '"$0" -m hostlink practice; echo "ended with status $?"; exec cat'),
        sys.executable,
    )
    terminal.until(lambda text: "holds no program" in text and "the shipped TIDE" in text)
    terminal.press("C-l")
    terminal.until(lambda text: "TIDE@1 is on the board, proven" in text)
    terminal.press("M-d")
    terminal.until(lambda text: "Make it smaller" in text)
    terminal.press("Escape")
    terminal.until(lambda text: "cost  so far" in text)
    terminal.press("C-g")
    terminal.until(lambda text: "proven by 2 captures" in text)
    terminal.press("C-q")
    terminal.until(lambda text: "ended with status 0" in text)
    with Archive.open(tmp_path / "archive.sqlite3", read_only=True) as archive:
        (revision,) = archive.history("TIDE")
        jobs = [event.job for event in archive.events() if event.outcome == "done"]
    assert revision.size_bytes == 609
    assert jobs[:2] == ["save", "load"]
