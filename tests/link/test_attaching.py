"""Opening a port without losing the board's program, system by system.

Only Linux is run for real, on pseudo-terminals; Windows and macOS by fakes that record the order of
what is done, against what pyserial's sources (3.5) do with it.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from hostlink.errors import LinkError, LinkReason
from hostlink.link.attaching import (
    Waking,
    foresee,
    holder_of,
    note_left_quiet,
    open_gently,
    was_left_quiet,
)
from hostlink.link.pacing import Pacing
from hostlink.link.serial_port import SerialPort

LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs Linux's /proc")


@pytest.fixture(autouse=True)
def notes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Notes of ports left quiet go to a folder of the test's own."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


@pytest.fixture
def terminal() -> Iterator[str]:
    """The name of a pseudo-terminal that somebody keeps open at its far end."""
    pty = pytest.importorskip("pty")
    far, near = pty.openpty()
    name = os.ttyname(near)
    os.close(near)
    yield name
    os.close(far)


# --- what to expect --------------------------------------------------------------------------

FORESIGHT: list[Any] = [
    # port, system, what is remembered, the profile's word: restarts, pulses
    ("/dev/ttyUSB0", "linux", None, True, True, True),
    ("/dev/ttyUSB0", "linux", None, False, False, True),
    ("/dev/ttyUSB0", "linux", True, False, True, True),
    ("/dev/ttyUSB0", "linux", False, True, False, True),
    ("/dev/cu.usbserial-1", "darwin", None, True, True, True),
    ("/dev/cu.usbserial-1", "darwin", False, True, False, True),
    ("COM3", "win32", True, True, False, False),
    ("practice://a", "linux", None, False, False, True),
    ("practice://a", "win32", True, False, True, True),
    ("socket://host:1", "linux", True, True, False, False),
    ("rfc2217://host:1", "linux", None, True, True, True),
    ("rfc2217://host:1", "win32", False, True, False, True),
]


@pytest.mark.parametrize(("name", "system", "seen", "says", "restarts", "pulses"), FORESIGHT)
def test_what_an_opening_will_do_is_foreseen(
    name: str, system: str, seen: bool | None, says: bool, restarts: bool, pulses: bool
) -> None:
    """What was seen of this board outweighs the profile; a port without the line never restarts."""
    foresight = foresee(name, profile_says=says, remembered=seen, system=system)
    assert (foresight.restarts, foresight.pulses) == (restarts, pulses)
    assert foresight.why


@LINUX
def test_the_second_opening_since_plugging_in_is_quiet(terminal: str) -> None:
    """Once hostlink had a port and left its line up, no restart is foretold: not even of a board
    that is known to restart."""
    assert foresee(terminal, profile_says=True, remembered=True, system="linux").restarts
    SerialPort(terminal, 9600).close()
    after = foresee(terminal, profile_says=True, remembered=True, system="linux")
    assert not after.restarts
    assert not after.pulses


def test_plugging_in_again_undoes_the_note(tmp_path: Path) -> None:
    """A new device node of the same name is not the one that was left with its line up."""
    if not Path("/proc/sys/kernel/random/boot_id").exists():
        pytest.skip("this system names no boot, so nothing is noted")
    node = tmp_path / "ttyUSB0"
    node.touch()
    note_left_quiet(str(node))
    assert was_left_quiet(str(node))
    node.rename(tmp_path / "old")
    node.touch()
    assert not was_left_quiet(str(node))
    assert not was_left_quiet(str(tmp_path / "none"))


# --- opening ---------------------------------------------------------------------------------


@LINUX
def test_hang_up_on_close_is_cleared_and_stays_cleared(terminal: str) -> None:
    """After hostlink the line stays up when the last program closes the port (HUPCL, termios)."""
    import termios

    with open(terminal, "r+b", buffering=0) as keep:  # noqa: PTH123 - a terminal, not a file
        before = termios.tcgetattr(keep)
        before[2] |= termios.HUPCL
        termios.tcsetattr(keep, termios.TCSANOW, before)
        assert termios.tcgetattr(keep)[2] & termios.HUPCL
    port = SerialPort(terminal, 9600)
    with contextlib.suppress(LinkError):
        port.dtr = True  # setting the line must not bring it back, nor another speed
    port.baudrate = 19200
    port.close()
    handle = os.open(terminal, os.O_RDWR | os.O_NOCTTY)
    try:
        assert not termios.tcgetattr(handle)[2] & termios.HUPCL
    finally:
        os.close(handle)


class Recorded:
    """A port that notes in which order it is set and opened."""

    def __init__(self, name: str, do_not_open: bool, **_: object) -> None:
        assert do_not_open
        self.__dict__["done"] = [name]

    def __setattr__(self, name: str, value: object) -> None:
        self.done.append((name, value))

    def open(self) -> None:
        self.done.append("open")


def test_windows_opens_with_the_line_off() -> None:
    """There DTR set before the opening is what the opening uses."""
    port = open_gently(Recorded, "COM3", {}, "win32")
    assert port.done == ["COM3", ("dtr", False), "open"]


@pytest.mark.parametrize("system", ["linux", "darwin"])
def test_elsewhere_the_line_is_left_up(system: str) -> None:
    """Lowering it would only make the next opening restart the board."""
    assert open_gently(Recorded, "/dev/none", {}, system).done == ["/dev/none", "open"]


def test_a_network_port_is_opened_as_it_is() -> None:
    """No line is touched before, on any system."""
    port = open_gently(Recorded, "rfc2217://host:1", {}, "win32")
    assert port.done == ["rfc2217://host:1", "open"]


# --- other programs on the port --------------------------------------------------------------

HOLD = "import os, sys; os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY); print(flush=True); input()"


@pytest.fixture
def holder(terminal: str) -> Iterator[subprocess.Popen[bytes]]:
    """Another program that has the terminal open and asked for no exclusive use."""
    command = [sys.executable, "-c", HOLD, terminal]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as program:
        assert program.stdout is not None
        program.stdout.readline()
        yield program
        program.kill()


@LINUX
def test_a_port_that_another_program_holds_is_left_alone(
    terminal: str, holder: subprocess.Popen[bytes], failing: Callable[..., LinkError]
) -> None:
    """The error names the program; without this both would lose bytes to each other."""
    error = failing(lambda: SerialPort(terminal, 9600))
    assert error.reason is LinkReason.BUSY
    assert f"process {holder.pid}" in error.what
    assert error.kept == "Nothing was sent."


@LINUX
def test_a_port_in_use_by_hostlink_itself_is_busy(
    terminal: str, failing: Callable[..., LinkError]
) -> None:
    """A second opening fails, and the first goes on; after its close the port is free."""
    port = SerialPort(terminal, 9600)
    try:
        assert failing(lambda: SerialPort(terminal, 9600)).reason is LinkReason.BUSY
        assert port.in_waiting == 0
    finally:
        port.close()
    SerialPort(terminal, 9600).close()


def test_nobody_holds_what_does_not_exist(tmp_path: Path) -> None:
    """Neither a missing device nor a plain file counts as held."""
    (tmp_path / "file").touch()
    assert holder_of(str(tmp_path / "none")) == ""
    assert holder_of(str(tmp_path / "file")) == ""


# --- a board that starts ---------------------------------------------------------------------

BANNER = b"practice board"


def waking(restart_s: float = 1.0, banner: bytes = BANNER) -> Waking:
    return Waking(Pacing(baud=57600, prompt=b"+ "), banner=banner, restart_s=restart_s)


@pytest.mark.parametrize("banner", [BANNER, b""])
def test_a_starting_board_is_heard_without_sending_anything(bench: Any, banner: bytes) -> None:
    """It is recognised by its banner, or by a prompt that nobody asked for."""
    here = bench(settled=False, restarts_on_open=True, restart_ms=1000)
    core = here.run(waking(banner=banner))
    assert core.woke
    assert bytes(core.heard).endswith(b"+ ")
    assert here.machine.heard == 0
    assert 1.0 < here.clock.now() < 1.3  # the board's 1.0 s and a moment of quiet, no more


@pytest.mark.parametrize(
    ("heard", "woke"),
    [
        (b"\r\nracti e board, 3000 bytes\r\n+ ", True),
        (b"\r\npractic\r board, 3000 bytes\r\n+ ", True),
        (b"\r\n+ ", False),
        (b"\r\nLATITUDE AND BOARD OF TRADE\r\n+ ", False),
    ],
)
def test_a_start_is_known_by_a_banner_of_which_some_bytes_were_damaged(
    heard: bytes, woke: bool
) -> None:
    """Nothing was sent, so nothing else can look like it (found by the soak: a board lost its
    program when its port was opened, and that was not told)."""
    core = waking()
    core.step(0.0, heard)
    core.step(5.0, b"")
    assert core.done
    assert core.woke is woke


def test_a_board_that_runs_on_is_not_taken_for_a_starting_one(bench: Any) -> None:
    """Silence for one and a half times the restart time, and it is given up."""
    here = bench()
    began = here.clock.now()
    assert not here.run(waking()).woke
    assert 1.5 <= here.clock.now() - began < 2.0


def test_a_program_that_starts_by_itself_counts_by_its_banner(bench: Any) -> None:
    """It never comes to a prompt, and is listened to no longer than a restart takes."""
    here = bench(restart_ms=500)
    for line in (b'10 PRINT "ON AND ON"\r', b"20 GOTO 10\r", b"STOW START\r"):
        here.say(line, 4.0)
    here.port.dtr = False
    here.port.dtr = True
    began = here.clock.now()
    core = here.run(waking(0.5))
    assert core.woke
    assert b"ON AND ON" in core.heard
    assert here.clock.now() - began < 1.2
