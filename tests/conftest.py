"""What holds for all tests: the same examples in every run, no deadline on a busy machine, and
each line traced once where coverage is measured. A real terminal for the tests that need one."""

import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

DEADLINE_S = 60.0  # generous: the computer may be busy with other tests

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """Stop pytest-cov's first measurement in a worker process, before it starts its second.

    It begins one early, not yet told that it is in a worker, and never ends it (seen in 7.1). Every
    line was traced twice, and the mark no_cover stopped only one of the two.
    """
    measuring = session.config.pluginmanager.getplugin("_cov")
    if hasattr(session.config, "workerinput") and getattr(measuring, "cov_controller", None):
        measuring.cov_controller.pause()


class Terminal:
    """A real terminal that a program runs in; tmux holds it."""

    def __init__(self, folder: Path) -> None:
        self._socket = str(folder / "tmux")

    def start(self, columns: int, rows: int, *words: str) -> None:
        """Open it, with that many columns and rows, on a command."""
        size = ("-x", str(columns), "-y", str(rows))
        self.run("new-session", "-d", "-s", "desk", *size, *words)

    def run(self, *words: str) -> str:
        """One command of tmux itself; what it prints."""
        done = subprocess.run(
            ["tmux", "-S", self._socket, *words],
            capture_output=True,
            encoding="utf-8",
            check=True,
            timeout=DEADLINE_S,
        )
        return done.stdout

    def press(self, *keys: str) -> None:
        """Press keys, by the names that tmux has for them."""
        self.run("send-keys", "-t", "desk", *keys)

    def type(self, text: str) -> None:
        """Type text as it stands."""
        self.run("send-keys", "-t", "desk", "-l", text)

    def paste(self, file: Path) -> None:
        """Paste a file as terminals do, in brackets where the program asked for them."""
        self.run("load-buffer", str(file))
        self.run("paste-buffer", "-p", "-t", "desk")

    def text(self) -> str:
        """What stands on the screen."""
        return self.run("capture-pane", "-p", "-t", "desk")

    def until(self, is_so: Callable[[str], bool], seconds: float = DEADLINE_S) -> str:
        """Look at the screen until something stands there; the test fails where it never does."""
        end = time.monotonic() + seconds
        while not is_so(text := self.text()):
            assert time.monotonic() < end, text
            time.sleep(0.05)
        return text


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    """A terminal that the test starts; without tmux a skip with the reason, in CI a failure."""
    if shutil.which("tmux") is None and not os.environ.get("HOSTLINK_CI"):
        pytest.skip("tmux is not installed (on Debian: apt-get install tmux)")
    opened = Terminal(tmp_path)
    yield opened
    subprocess.run(["tmux", "-S", opened._socket, "kill-server"], check=False)
