"""The terminal on the table: a fresh clone, and a shell in it that keeps all in one folder."""

from __future__ import annotations

import base64
import json
import re
import subprocess
import zlib
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive

ROOT = Path(__file__).resolve().parents[2]


class Evening:
    """The terminal on the table: a shell in the fresh clone, and what lies beside it.

    secret: what nobody tells hostlink about the boards of the class; the survey has to find it.
    start: the file that starts hostlink, from the clone.
    """

    secret = "baud=19200&line_ms=22&receive_buffer=24&prompt=ok%0D%0A&fold_case=yes"
    start = "scripts/start.py"

    def __init__(self, terminal: Any, folder: Path) -> None:
        self.terminal, self.folder = terminal, folder
        self.clone = folder / "hostlink"
        self.archive = folder / "archive.sqlite3"
        self._typed = 0

    def board(self, name: str, more: str = "") -> str:
        """The address of one of the class's boards, in virtual time."""
        return f"practice://{name}?{self.secret}&time=virtual{more}"

    def type(self, line: str, status: int = 0, seconds: float = 300.0) -> str:
        """Type a line into the shell; what it shows, once it has ended with that status."""
        self._typed += 1
        head, end = f"--- {self._typed} ---", f"--- {self._typed} ended with "
        self.terminal.run("clear-history", "-t", "desk")
        self.terminal.type(f"clear; echo '{head}'; {line}; echo '{end}'$?")
        self.terminal.press("Enter")
        self.terminal.until(lambda text: re.search(rf"^{end}\d", text, re.MULTILINE), seconds)
        shown = self.terminal.run("capture-pane", "-p", "-J", "-S", "-", "-t", "desk")
        told, _, rest = shown.rpartition(head)[2].rpartition(end)
        assert rest.split()[0] == str(status), f"{line}\n{told}"
        return " ".join(told.split())

    def hostlink(self, words: str, status: int = 0) -> str:
        return self.type(f"python3 {self.start} {words}", status)

    def state(self, name: str) -> Any:
        """What a board really holds, read from its own state."""
        return json.loads((self.folder / "practice" / f"{name}.json").read_text(encoding="utf-8"))

    def memory(self, name: str) -> list[str]:
        lines = self.state(name)["basic"]["lines"]
        return [f"{number} {text}" for number, text in lines.items()]

    def flash(self, name: str) -> bytes:
        return zlib.decompress(base64.b64decode(self.state(name)["flash"]))

    def kept(self, spec: str) -> str:
        """A listing of the archive."""
        with Archive.open(self.archive, read_only=True) as archive:
            return archive.content(archive.revision(spec)).text


@pytest.fixture
def evening(terminal: Any, tmp_path: Path) -> Evening:
    """A fresh clone, and a shell in it that keeps everything in the test's folder."""
    made = Evening(terminal, tmp_path)
    subprocess.run(["git", "clone", "-q", str(ROOT), str(made.clone)], check=True)
    places = {
        "HOSTLINK_ARCHIVE": made.archive,
        "HOSTLINK_PRACTICE": tmp_path / "practice",
        "HOSTLINK_PROFILES": tmp_path / "profiles",
        "HOSTLINK_SETTINGS": tmp_path / "settings.toml",
        "PS1": "% ",
        "COLUMNS": "110",
    }
    clean = [word for name in ("NO_COLOR", "HOSTLINK_PORT", "PYTHONPATH") for word in ("-u", name)]
    variables = [f"{name}={value}" for name, value in places.items()]
    shell = ["env", *clean, *variables, "sh", "-c", 'cd "$0" && exec sh', str(made.clone)]
    terminal.start(110, 36, *shell)
    return made
