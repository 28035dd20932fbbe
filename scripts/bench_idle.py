"""What app and console take of a core while a board is attached and nothing happens.

Each runs in a terminal of its own (a pseudo-terminal whose output is read and thrown away). The
board is a practice board in this process, at the other end of a second pseudo-terminal, as a real
one is at the other end of a cable.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

from hostlink.link.opening import open_port

_LONGEST_START_S = 60.0


def idle(seconds: float, settle_s: float) -> list[tuple[str, float, str]]:
    """Return the share of a core in percent that the idle app and the idle console take.

    seconds: how long each is measured. settle_s: from its first talk with the board until then.
    """
    app = _share([], b"holds no program", seconds, settle_s)
    console = _share(["console"], b"at its prompt", seconds, settle_s)
    return [
        ("idle app with a board", app, "% of a core"),
        ("idle console with a board", console, "% of a core"),
    ]


def _share(words: list[str], sign: bytes, seconds: float, settle_s: float) -> float:
    """Measure one program. sign: what it shows once it has talked to the board."""
    with tempfile.TemporaryDirectory() as folder, _board(folder) as port:
        environment = {
            **os.environ,
            "HOSTLINK_ARCHIVE": f"{folder}/idle.sqlite3",
            "HOSTLINK_PORT": port,
            "HOSTLINK_PROFILE": "practice",
            "HOSTLINK_SETTINGS": f"{folder}/settings.toml",
            "TERM": "xterm-256color",
        }
        command = [sys.executable, "-m", "hostlink", *words]
        with in_terminal(command, environment, sign) as (process, _):
            time.sleep(settle_s)
            if process.poll() is not None:
                raise RuntimeError("hostlink ended before it was measured")
            began, used = time.monotonic(), _cpu_s(process.pid)
            time.sleep(seconds)
            return 100 * (_cpu_s(process.pid) - used) / (time.monotonic() - began)


def _cpu_s(pid: int) -> float:
    """Return the seconds of processor time that a process has used: proc(5), utime and stime."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextlib.contextmanager
def _board(folder: str) -> Iterator[str]:
    """A practice board in real time behind a pseudo-terminal, whose name is given."""
    os.environ["HOSTLINK_PRACTICE"] = folder
    board, _ = open_port("practice://idle?fresh", 57_600)
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    name = os.ttyname(theirs)
    os.close(theirs)
    over = threading.Event()

    def serve() -> None:
        while not over.is_set():
            with contextlib.suppress(OSError):  # while nobody has the other end open
                if select.select([ours], [], [], 0.005)[0]:
                    board.write(os.read(ours, 4096))
                if waiting := board.in_waiting:
                    os.write(ours, board.read(waiting))
                    continue
            time.sleep(0.005)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield name
    finally:
        over.set()
        thread.join()
        os.close(ours)
        board.close()


def _take_terminal() -> None:
    """Make standard input this process's own terminal, so that it is hung up when we are killed."""
    os.setsid()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


@contextlib.contextmanager
def in_terminal(
    command: list[str],
    environment: dict[str, str],
    sign: bytes,
    drawn: Callable[[bytes], object] = lambda _: None,
) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """Run a program in a terminal; give it and our end of that once it has drawn `sign`.

    drawn: called with all that it draws, in a thread of its own.
    """
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    process = subprocess.Popen(
        command,
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=environment,
        preexec_fn=_take_terminal,
    )
    os.close(theirs)
    seen = threading.Event()
    answers = threading.Thread(target=_swallow, args=(ours, sign, seen, drawn), daemon=True)
    answers.start()
    try:
        if not seen.wait(_LONGEST_START_S):
            raise RuntimeError(f"hostlink did not draw {sign.decode()!r}")
        yield process, ours
    finally:
        process.kill()
        process.wait()
        answers.join()
        os.close(ours)


def _swallow(
    terminal: int, sign: bytes, seen: threading.Event, drawn: Callable[[bytes], object]
) -> None:
    """Read what a program draws until it has ended; answer where it asks for the cursor."""
    tail = b""
    with contextlib.suppress(OSError):
        while data := os.read(terminal, 65_536):
            drawn(data)
            tail = (tail + data)[-65_536:]
            if sign in tail:
                seen.set()
            if b"\x1b[6n" in data:
                os.write(terminal, b"\x1b[1;1R")


if __name__ == "__main__":
    for what, value, unit in idle(30.0, 10.0):
        print(f"{what}: {value:.2f} {unit}")
