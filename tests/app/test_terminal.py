"""The app in a terminal of the test's own, which vanishes without a signal for that."""

from __future__ import annotations

import asyncio
import errno
import fcntl
import io
import json
import os
import pty
import select
import signal
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from textual.app import App
from textual.drivers._writer_thread import MAX_QUEUED_WRITES, WriterThread
from textual.drivers.linux_driver import LinuxDriver

from hostlink.app.terminal import lasting
from hostlink.app.terminal_text import TerminalText

_LONG_S = 60


class Vanishing:
    """A pseudo terminal that does not control the app in it: its end sends no signal."""

    def __init__(self, folder: Path, *words: str, before: Callable[[], object] | None) -> None:
        self._far, near = pty.openpty()
        places = {"ARCHIVE": "archive.sqlite3", "PRACTICE": "practice", "SETTINGS": "settings"}
        own = {f"HOSTLINK_{name}": str(folder / file) for name, file in places.items()}
        self.app = subprocess.Popen(
            (sys.executable, "-m", "hostlink", *words),
            stdin=near,
            stdout=near,
            stderr=near,
            env={**os.environ, **own, "TERM": "xterm-256color"},
            preexec_fn=before,
        )
        os.close(near)

    def until(self, is_there: Callable[[], object]) -> None:
        """Read what the app draws until something is there."""
        ends = time.monotonic() + _LONG_S
        while not is_there():
            assert time.monotonic() < ends, "it never comes"
            if select.select([self._far], [], [], 0.1)[0]:
                os.read(self._far, 1 << 16)

    def type(self, data: bytes) -> None:
        """Type bytes."""
        os.write(self._far, data)

    def vanish(self) -> int:
        """Close the far end; return the status that the app ends with by itself."""
        os.close(self._far)
        try:
            return self.app.wait(_LONG_S)
        finally:
            self.app.kill()


def _be_controlled() -> None:
    """Make the terminal at standard input that of the session, as a window does."""
    os.setsid()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


@pytest.mark.one_in(2)
@pytest.mark.parametrize(
    ("before", "status"),
    [
        pytest.param(None, 128 + signal.SIGHUP, id="usual"),
        pytest.param(
            lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN), 128 + signal.SIGTERM, id="nohup"
        ),
        pytest.param(_be_controlled, 128 + signal.SIGHUP, id="window"),  # SIGHUP and SIGCONT
    ],
)
def test_an_app_whose_terminal_vanished_ends_and_keeps_its_draft(
    tmp_path: Path, before: Callable[[], object] | None, status: int
) -> None:
    """Idle, told by a signal or not: it ends by itself, what was typed is a draft."""
    terminal = Vanishing(tmp_path, "practice", before=before)
    drafts = tmp_path / "drafts"
    terminal.until(lambda: (tmp_path / "archive.sqlite3").exists())
    terminal.type(b"7 REM NEW\n")
    terminal.until(lambda: list(drafts.glob("*.json")))
    assert terminal.vanish() == status
    (draft,) = drafts.glob("*.json")
    assert json.loads(draft.read_bytes())["text"].startswith("7 REM NEW")


def test_an_app_that_was_stopped_and_goes_on_reads_the_terminal_once(tmp_path: Path) -> None:
    """Two threads would share what is typed between them, and one of them never end."""
    terminal = Vanishing(tmp_path, before=None)
    terminal.until(lambda: (tmp_path / "archive.sqlite3").exists())
    drafts = tmp_path / "drafts"
    for number in range(1, 4):
        terminal.type(f"{number} REM\n".encode())
        wanted = "".join(f"{each} REM\n" for each in range(1, number + 1))
        terminal.until(
            lambda wanted=wanted: (
                [json.loads(each.read_bytes())["text"] for each in drafts.glob("*.json")]
                == [wanted]
            )
        )
        terminal.app.send_signal(signal.SIGSTOP)
        terminal.app.send_signal(signal.SIGCONT)
    assert terminal.vanish() == 128 + signal.SIGHUP


@pytest.mark.parametrize(
    ("is_there", "suspended", "reads", "ends", "calls"),
    [
        (True, True, False, False, ["resume"]),
        (True, False, True, False, ["suspend", "resume"]),
        (True, False, True, True, []),
        (True, False, False, False, []),
        (False, False, True, False, []),
        (False, True, False, False, []),
    ],
)
def test_the_terminal_is_never_read_by_two_threads(
    monkeypatch: pytest.MonkeyPatch,
    is_there: bool,
    suspended: bool,
    reads: bool,
    ends: bool,
    calls: list[str],
) -> None:
    """SIGCONT comes after any stop, with SIGHUP, and to a process that runs or ends."""
    called: list[str] = []
    monkeypatch.setattr(os, "isatty", lambda _: is_there)
    for name in ("suspend", "resume"):
        method = f"{name}_application_mode"
        monkeypatch.setattr(LinuxDriver, method, lambda _, name=name: called.append(name))
    driver = object.__new__(lasting(LinuxDriver))
    driver._auto_restart, driver._must_signal_resume, driver.fileno = True, suspended, 0
    driver.exit_event = threading.Event()
    if ends:
        driver.exit_event.set()
    driver._key_thread = threading.current_thread() if reads else None
    driver._sigcont_application()
    assert called == calls


def test_no_byte_ends_the_app_and_no_paste_presses_a_key(tmp_path: Path) -> None:
    """Alt+l of a stock xterm in Latin-1 types nothing; an Escape in a paste does not leave it.

    Ctrl+Q would ask in the middle of the paste, and what follows would answer.
    """
    terminal = Vanishing(tmp_path, before=None)
    terminal.until(lambda: (tmp_path / "archive.sqlite3").exists())
    drafts = tmp_path / "drafts"
    terminal.type(b"7 REM ")
    terminal.until(lambda: list(drafts.glob("*.json")))
    terminal.type(b"\xecNEW\x1b[200~8 REM \x1b[31mA\x11\n9 REM B\x1b[201~")

    def texts() -> list[str]:
        return [json.loads(each.read_bytes())["text"] for each in drafts.glob("*.json")]

    wanted = ["7 REM NEW\n8 REM \x1a[31mA\x11\n9 REM B\n"]
    terminal.until(lambda: texts() == wanted)
    assert terminal.vanish() == 128 + signal.SIGHUP
    assert texts() == wanted


def test_what_a_terminal_sends_is_read_alike_in_any_pieces() -> None:
    """Whole, byte by byte, and in two pieces: keys stay keys, only a paste loses its Escapes."""
    typed, first, second = (
        "é\x1b[A",
        "\x1b[200~1 \x1b[201\x1b[200~\x1b\x1b[201~",
        "\x1b[200~2\x1b[201~",
    )
    sent = f"{typed}{first}\x1b{second}".encode() + b"\xff"
    read = f"{typed}\x1b[200~1 \x1a[201\x1a[200~\x1a\x1b[201~\x1b{second}\ufffd"
    ways = [[sent[:at], sent[at:]] for at in range(len(sent))]
    for pieces in (*ways, [sent[at : at + 1] for at in range(len(sent))]):
        text = TerminalText()
        assert "".join(text.decode(each) for each in pieces) == read


class _Gone(io.StringIO):
    """A terminal that is gone."""

    def write(self, _: str) -> int:
        raise OSError(errno.EIO, "gone")


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_what_cannot_be_written_any_more_holds_nobody_up() -> None:
    """Textual's thread that writes has ended, and the queue before it is full: the end goes on."""

    async def made() -> Any:  # a driver belongs to the loop that runs
        return lasting(LinuxDriver)(App())

    driver = asyncio.run(made())
    driver._writer_thread = writer = WriterThread(_Gone())
    writer.start()
    writer.write("first")
    writer.join(_LONG_S)
    for _ in range(MAX_QUEUED_WRITES):
        writer.write("more")

    def end() -> None:
        driver.write("last")
        driver.close()

    ending = threading.Thread(target=end, daemon=True)
    ending.start()
    ending.join(_LONG_S)
    assert not ending.is_alive()
