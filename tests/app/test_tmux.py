"""Real runs in a real terminal: start, load, save, leave; and ended. Needs tmux, which CI has."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive


def test_a_newcomer_starts_loads_saves_and_leaves(
    terminal: Any, tmp_path: Path, start_app: Any
) -> None:
    """In a terminal of 80 by 24, in real time: the listing goes in proven and comes out proven."""
    start_app("practice")
    terminal.until(lambda text: "holds no program" in text and "the shipped TIDE" in text)
    terminal.press("C-l")
    terminal.until(lambda text: "TIDE revision 1 is on the board, proven" in text)
    terminal.press("Escape", "z")
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


@pytest.mark.parametrize("status", [128 + signal.SIGTERM, 130])
def test_a_signal_or_leaving_ends_the_app_and_the_job_in_good_order(
    terminal: Any, tmp_path: Path, start_app: Any, status: int
) -> None:
    """In the middle of a load: the terminal is as before, and what the board holds is told."""
    lines = [f'{number} PRINT "LINE {number}"' for number in range(10, 400, 10)]
    (tmp_path / "long.bas").write_text("\n".join(lines) + "\n", encoding="utf-8")
    slow = {"HOSTLINK_PORT": "practice://slow?baud=1200", "HOSTLINK_BAUD": "1200"}
    start_app(**slow)
    terminal.until(lambda text: "holds no program" in text)
    terminal.paste(tmp_path / "long.bas")
    terminal.until(lambda text: "LINE 60" in text)
    terminal.press("C-l")
    terminal.until(lambda text: "What is the program called?" in text)
    terminal.type("LONG")
    terminal.press("Enter")
    terminal.until(lambda text: "3 of 39 lines" in text)
    if status == 130:
        terminal.press("C-q")
        terminal.until(lambda text: "1 job under way will be stopped" in text)
        terminal.press("Down", "Enter")
    else:
        os.kill(int((tmp_path / "pid").read_text()), signal.SIGTERM)
    text = terminal.until(lambda text: "ended with status" in text)
    assert f"ended with status {status}" in text
    assert "The app was ended during a job." in text
    assert "the board holds a part of it" in " ".join(text.split())
    with Archive.open(tmp_path / "archive.sqlite3", read_only=True) as archive:
        load = next(event for event in archive.events() if event.job == "load")
        assert archive.prove().clean
    assert load.outcome == "interrupted"


def test_a_load_is_seen_on_the_desk_of_a_terminal_with_16_colours(
    terminal: Any, start_app: Any
) -> None:
    """Over a slow line: lines are marked as sent, then as proven, and the keys go on working."""
    slow = {"HOSTLINK_PORT": "practice://slow?baud=1200", "HOSTLINK_BAUD": "1200"}
    start_app(TERM="xterm", COLORTERM="", **slow)
    terminal.until(lambda text: "holds no program" in text)
    terminal.press("Escape")
    terminal.until(lambda text: "every action" in text)
    terminal.press("a")
    terminal.until(lambda text: "▸ Archive" in text)
    terminal.press("Enter")
    terminal.until(lambda text: "▸ the shipped TIDE" in text)
    terminal.press("C-l")
    terminal.until(lambda text: "144 ─" in text and " sent" in text and "s left" in text)
    terminal.press("C-t")
    terminal.until(lambda text: "▸ Console" in text)
    text = terminal.until(lambda text: "is on the board, proven" in text)
    assert "144 ━" in text and "─" not in text and "609 held" in text


@pytest.mark.parametrize("term", ["xterm", "xterm-256color", "screen"])
def test_escape_and_a_letter_in_one_read_type_nothing(
    terminal: Any, start_app: Any, term: str
) -> None:
    """Exact bytes, several keys in each: words are done, and text goes where they lead."""
    start_app(TERM=term)
    terminal.until(lambda text: "New listing" in text and "Archive:" in text)

    def send(data: bytes) -> None:
        terminal.run("send-keys", "-t", "desk", "-H", *(f"{byte:02x}" for byte in data))

    send(b"10 REM \x1batide")
    terminal.until(lambda text: "find tide" in " ".join(text.split()))
    send(b"\x1b\x1b\x1b[FA\xc3\xac")  # Escape twice, End, A, and Alt+l of a stock xterm
    text = terminal.until(lambda text: "10 REM A" in text and "it was not typed" in text)
    assert "find tide" not in " ".join(text.split())
    send(b"\x1bi")
    terminal.until(lambda text: "Escape" in text and "cost  so far" not in text)
    send(b"\x1b")
    terminal.until(lambda text: "cost  so far" in text)
    send(b"\x1b")
    terminal.until(lambda text: "every action" in text)
    send(b"q")
    terminal.until(lambda text: "The text in the editor is not in the archive." in text)
    send(b"\x1b[B\r")
    terminal.until(lambda text: "ended with status 0" in text)


# Like a run of the tests that starts a terminal and is killed before it can end it.
KILLED = """
import importlib.util, os, pathlib, signal, sys
spec = importlib.util.spec_from_file_location("conftest", sys.argv[1])
sys.modules["conftest"] = conftest = importlib.util.module_from_spec(spec)
spec.loader.exec_module(conftest)
terminal = conftest.Terminal(pathlib.Path(sys.argv[2]))
terminal.start(80, 24, "cat")
assert terminal.text() is not None
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.usefixtures("terminal")
def test_a_terminal_ends_with_the_tests_that_were_killed(tmp_path: Path) -> None:
    """Nothing is left running on the computer of who stops the tests the hard way."""
    conftest = Path(__file__).parents[1] / "conftest.py"
    ran = subprocess.run([sys.executable, "-c", KILLED, conftest, tmp_path], check=False)
    assert ran.returncode == -signal.SIGKILL
    asked = ["tmux", "-S", str(tmp_path / "tmux"), "has-session"]
    end = time.monotonic() + 60
    while subprocess.run(asked, capture_output=True, check=False).returncode == 0:
        assert time.monotonic() < end, "the terminal goes on"
        time.sleep(0.1)
