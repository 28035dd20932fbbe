"""A command line of the test's own: a folder, an archive, a practice board on a virtual clock."""

from __future__ import annotations

import io
import json
import os
import re
import selectors
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.cli.entry import run_line
from hostlink.link.clock import VirtualClock
from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

BOARD = "practice://class?time=virtual"
DEADLINE_S = 180.0  # generous: the computer may be busy with other tests
VARIABLES = ("PORT", "PROFILE", "BAUD", "ARCHIVE", "JSON", "QUIET", "YES", "PRACTICE", "CALLED")


@dataclass(frozen=True)
class Told:
    """How a command ended: its exit status, its data and its talk."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


Hostlink = Callable[..., Told]


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, _ready_archives: None) -> Path:
    """An empty folder to work in; archive and practice boards are kept there too."""
    monkeypatch.chdir(tmp_path)
    for name in VARIABLES:
        monkeypatch.delenv(f"HOSTLINK_{name}", raising=False)
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.setenv("HOSTLINK_PORT", BOARD)
    return tmp_path


@pytest.fixture
def signals() -> Iterator[None]:
    """A process that the test starts ignores no signal, whatever the test run itself ignores."""
    numbers = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {number: signal.signal(number, signal.SIG_DFL) for number in numbers}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.fixture
def hostlink(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Hostlink:
    """Runs one command line in this process: hostlink("load", "tide") -> Told."""

    def run(*words: str, stdin: bytes = b"") -> Told:
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8"))
        capsys.readouterr()
        status = run_line(list(words))
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return Told(status, told.out, told.err)

    return run


@pytest.fixture
def copies(place: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[], Iterator[None]]:
    """Gives back the folder as it is now, again and again."""
    kept = tmp_path_factory.mktemp("state")

    def begin() -> Iterator[None]:
        shutil.rmtree(kept / "now", ignore_errors=True)
        shutil.copytree(place, kept / "now")
        while True:
            yield
            for path in place.iterdir():
                shutil.rmtree(path) if path.is_dir() else path.unlink()
            shutil.copytree(kept / "now", place, dirs_exist_ok=True)

    return begin


@pytest.fixture
def listing(place: Path) -> Callable[..., str]:
    """Writes a listing file and gives its name: listing("10 END", name="a.bas")."""

    def write(*lines: str, name: str = "light.bas") -> str:
        (place / name).write_text("".join(line + "\n" for line in lines), encoding="utf-8")
        return name

    return write


@pytest.fixture
def archive(place: Path) -> Iterator[Archive]:
    """The archive that the commands of this test use."""
    with Archive.open(place / "archive.sqlite3") as opened:
        yield opened


@pytest.fixture
def board_holds(place: Path) -> Callable[..., dict[int, str]]:
    """What a practice board holds between two commands, read from its own state file."""

    def lines(name: str = "class") -> dict[int, str]:
        kept: Mapping[str, Any] = json.loads(
            (place / "practice" / f"{name}.json").read_text(encoding="utf-8")
        )
        return {int(number): text.strip() for number, text in kept["basic"]["lines"].items()}

    return lines


@pytest.fixture
def machine_at_port(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Machine]:
    """Puts a machine of the test's own behind every port that is opened from now on.

    typed: bytes that it hears before the port is opened (a program that was started by hand).
    program: what its memory holds by then, any bytes.
    """

    def put(
        settings: BoardSettings | None = None,
        faults: Faults | None = None,
        *,
        typed: bytes = b"",
        program: Mapping[int, bytes] | None = None,
        seconds: float = 2.0,
    ) -> Machine:
        machine = Machine(settings, faults)
        machine.host_sends(typed, 0.0)
        machine.run_until(seconds)
        machine.forget_output(seconds)
        if program is not None:
            machine.basic._state.memory.replace(dict(program))

        clock = VirtualClock(seconds)  # the board's time goes on from one opening to the next

        def open_port(name: str, baud: int) -> tuple[PracticePort, VirtualClock]:  # noqa: ARG001
            port = PracticePort(machine, clock, jump=clock.advance_to)
            port._origin = 0.0
            return port, clock

        monkeypatch.setattr("hostlink.jobs.session.opening.open_port", open_port)
        return machine

    return put


def _take_terminal() -> None:
    """Make the terminal at standard input this process's own, as a window does."""
    import fcntl
    import termios

    os.setsid()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class Seat:
    """hostlink in a process of its own, with a person at a terminal or a script at its pipes.

    What it writes is read until something stands there, so that nothing depends on how fast it is.
    """

    def __init__(self, words: Sequence[str], *, terminal: bool, **options: Any) -> None:
        self.out = ""
        self.err = ""
        self._terminal = -1
        ends: dict[str, int] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        near = -1
        if terminal:
            import pty

            self._terminal, near = pty.openpty()
            ends = {"stdin": near, "stdout": near}
            options["preexec_fn"] = _take_terminal
        self.process = subprocess.Popen(
            [sys.executable, "-m", "hostlink", *words],
            **{**ends, "stderr": subprocess.PIPE, **options},
        )
        if terminal:
            os.close(near)
        self._readers = selectors.DefaultSelector()
        for name, end in (("out", self.process.stdout), ("err", self.process.stderr)):
            if end is not None:
                self._readers.register(end, selectors.EVENT_READ, name)
        if terminal:
            self._readers.register(self._terminal, selectors.EVENT_READ, "out")

    def _read(self) -> bool:
        """Take what comes next; False when everything is closed or nothing comes."""
        if not self._readers.get_map():
            return False
        for key, _ in self._readers.select(DEADLINE_S):
            try:
                data = os.read(key.fd, 4096)
            except OSError:  # the other end of a terminal has gone
                data = b""
            if not data:
                self._readers.unregister(key.fileobj)
            setattr(self, key.data, getattr(self, key.data) + data.decode("utf-8", "replace"))
            return True
        self.process.kill()
        pytest.fail(f"nothing more came: {self.out!r} {self.err!r}")

    def until(self, pattern: str, *, of: str = "out") -> None:
        """Wait until what was written to stdout (or stderr: of="err") holds a pattern."""
        end = time.monotonic() + DEADLINE_S
        while not re.search(pattern, getattr(self, of)):
            assert self._read() and time.monotonic() < end, (pattern, self.out, self.err)

    def type(self, text: str) -> None:
        """Type at the terminal, or write into the pipe."""
        if self._terminal >= 0:
            os.write(self._terminal, text.encode())
            return
        assert self.process.stdin is not None
        self.process.stdin.write(text.encode())
        self.process.stdin.flush()

    def hang_up(self, *, of: str = "out") -> None:
        """Close the terminal's window, or the reading end of a pipe."""
        for key in list(self._readers.get_map().values()):
            if key.data == of:
                self._readers.unregister(key.fileobj)
        end = self.process.stdout if of == "out" else self.process.stderr
        if end is not None:
            end.close()
        else:
            os.close(self._terminal)
            self._terminal = -1

    def end(self) -> int:
        """Wait for its end; its exit status. All that it wrote is in `out` and `err`."""
        if self.process.stdin is not None:
            self.process.stdin.close()
        end = time.monotonic() + DEADLINE_S
        while self._read():
            assert time.monotonic() < end, (self.out, self.err)
        status = self.process.wait(DEADLINE_S)
        assert "Traceback" not in self.out + self.err, self.err
        return status

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(DEADLINE_S)
        self._readers.close()
        if self._terminal >= 0:
            os.close(self._terminal)
        for end in (self.process.stdin, self.process.stdout, self.process.stderr):
            if end is not None:
                end.close()


@pytest.fixture
def seat() -> Iterator[Callable[..., Seat]]:
    """Starts hostlink: seat("run", terminal=True), with more options of Popen."""
    seats: list[Seat] = []

    def start(*words: str, terminal: bool = False, **options: Any) -> Seat:
        seats.append(Seat(words, terminal=terminal, **options))
        return seats[-1]

    yield start
    for each in seats:
        each.close()
