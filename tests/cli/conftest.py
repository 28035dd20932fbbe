"""A command line of the test's own: a folder, an archive, a practice board on a virtual clock."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable, Iterator, Mapping
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
VARIABLES = ("PORT", "PROFILE", "BAUD", "ARCHIVE", "JSON", "QUIET", "YES", "PRACTICE")


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
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in; archive and practice boards are kept there too."""
    monkeypatch.chdir(tmp_path)
    for name in VARIABLES:
        monkeypatch.delenv(f"HOSTLINK_{name}", raising=False)
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.setenv("HOSTLINK_PORT", BOARD)
    return tmp_path


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

        def open_port(name: str, baud: int) -> tuple[PracticePort, VirtualClock]:  # noqa: ARG001
            clock = VirtualClock(seconds)
            port = PracticePort(machine, clock, jump=clock.advance_to)
            port._origin = 0.0
            return port, clock

        monkeypatch.setattr("hostlink.jobs.session.open_port", open_port)
        return machine

    return put
