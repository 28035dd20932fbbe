"""What Windows and macOS do otherwise, with their answers faked at the seam.

There was neither here: the answers are those of the libraries' sources (pyserial 3.5) and of the
systems' documentation, as DEVELOPERS.md lists them. None of this was run on those systems.
"""

from __future__ import annotations

import ast
import errno
import io
import ntpath
import os
import plistlib
import re
import signal
import sys
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path, PureWindowsPath
from types import ModuleType, SimpleNamespace

import pytest
from pytest_mock import MockerFixture

from hostlink import locking
from hostlink.archive import Archive
from hostlink.archive.database import flushing
from hostlink.archive.names import file_name
from hostlink.board.port import plugged, ports
from hostlink.board.port.plugged import place_of, plugged_in
from hostlink.board.port.ports import hidden_bridges
from hostlink.cli import entry, stopping, streams
from hostlink.jobs.boards import looks_like_label, without_port
from hostlink.writing import write_whole

BRIDGE = (0x1A86, 0x7523)


def source_of(module: str) -> ast.Module:
    """The source of a module that cannot be imported on this system."""
    parent, _, name = module.rpartition(".")
    spec = find_spec(parent)
    assert spec is not None and spec.submodule_search_locations
    return ast.parse((Path(spec.submodule_search_locations[0]) / f"{name}.py").read_text("utf-8"))


def info(device: str, *, serial: str | None = None, location: str | None = None) -> SimpleNamespace:
    """A port as pyserial tells it."""
    return SimpleNamespace(
        device=device,
        description="",
        vid=BRIDGE[0],
        pid=BRIDGE[1],
        serial_number=serial,
        location=location,
    )


# --- ports and bridges ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("instance", "number"),
    [
        ("USB\\VID_1A86&PID_7523\\5&2A1B3C4D&0&2", ""),
        ("USB\\VID_10C4&PID_EA60\\0001", "0001"),
        ("FTDIBUS\\VID_0403+PID_6001+A50285BIA\\0000", "A50285BIA"),
        ("FTDIBUS\\VID_0403+PID_6001+5&2BD54C0&0&2\\0000", ""),
    ],
)
def test_a_number_that_windows_made_up_is_no_serial_number(instance: str, number: str) -> None:
    """By pyserial's own expressions, and with its way to the parent for a composite device, which
    has the same numbers and a made-up instance too."""
    found = [
        node.args[0].value
        for node in ast.walk(source_of("serial.tools.list_ports_windows"))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "search"
        and isinstance(node.args[0], ast.Constant)
    ]
    matches = [match for each in found if (match := re.search(each, instance, re.I))]
    told = next(group for group in (matches[-1].groups() or ())[::-1] if group)
    assert ports._serial_number(info("COM3", serial=told), "win32") == number
    assert ports._serial_number(info("/dev/ttyUSB0", serial="5"), "linux") == "5"
    assert ports._serial_number(info("COM3", serial=None), "win32") == ""


@pytest.mark.parametrize("typed", ["COM12", "com12", "\\\\.\\COM12"])
def test_case_and_prefix_of_a_port_do_not_count_on_windows(typed: str) -> None:
    """A label given to COM12 is found by com12."""
    assert ports._names_of(typed, "win32") == ports._names_of("COM12", "win32")
    assert not ports._names_of(typed, "win32") & ports._names_of("COM1", "win32")


def test_both_nodes_of_a_port_are_one_on_macos() -> None:
    """pyserial lists the callout device; people also type the other."""
    assert "/dev/cu.usbserial-1" in ports._names_of("/dev/tty.usbserial-1", "darwin")
    assert "/dev/cu.usbserial-1" not in ports._names_of("/dev/tty.usbserial-1", "linux")


@pytest.mark.parametrize("name", ["COM3", "com12"])
def test_the_name_of_a_port_of_windows_is_no_label(name: str) -> None:
    """Also where the port is not plugged in."""
    assert not looks_like_label(name)


# --- bridges without a port ----------------------------------------------------------------------

CIM = (
    b"ROOT\\SYSTEM\\0000\r\n"
    b"USB\\VID_1A86&PID_7523\\5&2A1B3C4D&0&2\r\n"
    b"USB\\VID_04D8&PID_00DD&MI_00\\6&1&0&0000\r\n"
    b"USB\\VID_FFFF&PID_0001\\123\r\n"
)
LOCATION = 0x14140000


def registry() -> bytes:
    """What ioreg prints: a root hub, in it a hub, in that a bridge."""
    bridge = {"idVendor": BRIDGE[0], "idProduct": BRIDGE[1], "locationID": LOCATION}
    hub = {
        "idVendor": 0x05E3,
        "idProduct": 0x0608,
        "locationID": 0x14100000,
        "IORegistryEntryChildren": [bridge],
    }
    root = {"IORegistryEntryName": "Root", "IORegistryEntryChildren": [hub]}
    return plistlib.dumps({"IORegistryEntryChildren": [root]})


def answers(mocker: MockerFixture, answer: bytes) -> list[tuple[str, ...]]:
    """Let the system answer so; returns the commands that it is asked by."""
    asked: list[tuple[str, ...]] = []

    def run(command: tuple[str, ...], **_: object) -> SimpleNamespace:
        asked.append(command)
        return SimpleNamespace(stdout=answer)

    mocker.patch("subprocess.run", run)
    return asked


def test_a_bridge_without_a_driver_is_found_on_windows(mocker: MockerFixture) -> None:
    """Among the devices that are present; one function of a device is none."""
    mocker.patch("serial.tools.list_ports.comports", return_value=[])
    asked = answers(mocker, CIM)
    assert hidden_bridges(system="win32") == [("", *BRIDGE)]
    assert asked[0][0] == "powershell"
    (said,) = without_port(hidden_bridges(system="win32"), "win32")
    assert "is plugged in but has no port" in said
    assert "device manager" in said and "dmesg" not in said


def test_windows_is_not_asked_where_a_bridge_has_a_port(mocker: MockerFixture) -> None:
    """The answer takes a second, and could not be compared with the ports."""
    mocker.patch("serial.tools.list_ports.comports", return_value=[info("COM3")])
    asked = answers(mocker, CIM)
    assert hidden_bridges(system="win32") == []
    assert asked == []


def test_a_bridge_without_a_driver_is_found_on_macos(mocker: MockerFixture) -> None:
    """By the place that pyserial tells of each port; with a port there it is not hidden."""
    comports = mocker.patch("serial.tools.list_ports.comports", return_value=[])
    asked = answers(mocker, registry())
    assert hidden_bridges(system="darwin") == [("20-1.4", *BRIDGE)]
    assert asked[0][0] == "ioreg"
    (said,) = without_port(hidden_bridges(system="darwin"), "darwin")
    assert "at 20-1.4" in said and "dmesg" not in said
    comports.return_value = [info("/dev/cu.usbserial-1", location="20-1.4")]
    assert hidden_bridges(system="darwin") == []
    comports.return_value = [info("/dev/cu.usbserial-1", location="20-1.3")]
    assert hidden_bridges(system="darwin") == [("20-1.4", *BRIDGE)]


@pytest.mark.parametrize("location", [0x14140000, 0x14000000, 0xFA123456, 0x01200000, 0])
def test_a_place_on_macos_is_written_as_pyserial_does(location: int) -> None:
    """By the function in its source, which cannot be imported elsewhere."""
    (written,) = [
        node
        for node in source_of("serial.tools.list_ports_osx").body
        if isinstance(node, ast.FunctionDef) and node.name == "location_to_string"
    ]
    names: dict[str, Callable[[int], str]] = {}
    exec(compile(ast.Module([written], []), "pyserial", "exec"), names)
    assert place_of(location) == names["location_to_string"](location)


@pytest.mark.parametrize("system", ["win32", "darwin"])
@pytest.mark.parametrize("answer", [b"", b"\xff\xfe", b"<plist><dict>", b"bplist00"])
def test_a_system_that_does_not_answer_hides_nothing(
    mocker: MockerFixture, system: str, answer: bytes
) -> None:
    """Rubbish, a command that is not there, and one that never ends are as good as none."""
    answers(mocker, answer)
    assert plugged_in(system) == []
    mocker.patch("subprocess.run", side_effect=FileNotFoundError)
    assert plugged_in(system) == []
    mocker.patch("subprocess.run", side_effect=plugged_timeout())
    assert plugged_in(system) == []


def plugged_timeout() -> Exception:
    """What subprocess raises for a command that takes too long."""
    import subprocess

    return subprocess.TimeoutExpired("x", plugged._LONGEST_S)


# --- files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("answer", [None, PermissionError(errno.EACCES, "denied")])
def test_a_lock_of_windows_is_taken_or_not(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, answer: OSError | None
) -> None:
    """msvcrt.locking locks a byte at the place of the file, and raises EACCES where it is locked
    (Python library reference, msvcrt)."""
    asked: list[tuple[int, int, int]] = []

    def lock(descriptor: int, mode: int, count: int) -> None:
        asked.append((os.lseek(descriptor, 0, os.SEEK_CUR), mode, count))
        if answer is not None:
            raise answer

    module = ModuleType("msvcrt")
    module.__dict__.update(LK_NBLCK=2, locking=lock)
    monkeypatch.setitem(sys.modules, "msvcrt", module)
    monkeypatch.setattr(sys, "platform", "win32")
    (tmp_path / "a.lock").write_bytes(b"old")
    with (tmp_path / "a.lock").open("ab") as file:
        assert locking.try_lock(file) == (answer is None)
    assert asked == [(0, 2, 1)]


def test_a_file_that_windows_will_not_replace_is_as_it_was(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """MoveFileEx refuses where another program has the file open; nothing is left beside it."""
    target = tmp_path / "list.bas"
    target.write_bytes(b"old")

    def refuse(*_: object) -> None:
        raise PermissionError(errno.EACCES, "used by another process")

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OSError, match="another process"):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["list.bas"]


def test_a_folder_is_not_flushed_where_it_cannot_be_opened(
    mocker: MockerFixture, tmp_path: Path
) -> None:
    """Windows opens no folder as a file; its file system keeps names in a journal."""
    system = mocker.patch.object(flushing, "os", SimpleNamespace(name="nt", open=pytest.fail))
    flushing.flush_folder(tmp_path)
    assert system.name == "nt"


def test_the_archive_is_flushed_through_the_drive_s_cache(tmp_path: Path) -> None:
    """fsync of macOS leaves data there (its manual page); SQLite asks for F_FULLFSYNC by these two
    pragmas (sqlite.org, pragma.html)."""
    with Archive.open(tmp_path / "a.sqlite3") as archive:
        db = archive._access.connect()
        for name in ("fullfsync", "checkpoint_fullfsync"):
            assert db.execute(f"PRAGMA {name}").fetchone()[0] == 1
        db.close()


RESERVED = ["con", "Aux.txt", "nul .bas", "COM1", "com9.x", "lpt3", "COM²", "LPT¹.bas", "CONIN$"]


@pytest.mark.parametrize("name", [*RESERVED, "CONOUT$", "prn", "com10", "console", "auxil", "com"])
def test_no_file_gets_a_name_that_windows_reserves(name: str) -> None:
    """By Python's own list of them (ntpath.isreserved since 3.13, before PureWindowsPath)."""

    def reserved(each: str) -> bool:
        if sys.version_info >= (3, 13):
            return bool(ntpath.isreserved(each))
        return PureWindowsPath(each).is_reserved()

    assert not reserved(file_name(name))
    assert (file_name(name) == name) != reserved(name)


# --- the terminal --------------------------------------------------------------------------------


def test_a_pipe_that_windows_says_is_invalid_was_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its C library answers EINVAL where POSIX has EPIPE (Python issue 35754); elsewhere that is a
    fault of ours."""

    def closed(_: object) -> int:
        raise OSError(errno.EINVAL, "Invalid argument")

    dropped: list[object] = []
    monkeypatch.setattr(entry, "run_line", closed)
    monkeypatch.setattr(entry, "handle_signals", lambda: None)
    monkeypatch.setattr(entry, "check_streams", lambda: None)
    monkeypatch.setattr(entry, "discard_stream", dropped.append)
    with pytest.raises(OSError, match="Invalid argument"):
        entry._main()
    monkeypatch.setattr(sys, "platform", "win32")
    assert entry._main() == 0
    assert dropped == [sys.stdout]


@pytest.mark.skipif(not hasattr(signal, "SIGUSR1"), reason="needs a signal to stand for another")
def test_ctrl_break_ends_a_job_as_sigterm_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows has no SIGHUP, but SIGBREAK (Python library reference, signal)."""
    monkeypatch.setattr(signal, "SIGBREAK", signal.SIGUSR1, raising=False)
    monkeypatch.setattr(stopping, "_NAMES", ("SIGBREAK",))
    before = signal.getsignal(signal.SIGUSR1)
    try:
        with stopping.stoppable() as stopped:
            signal.raise_signal(signal.SIGUSR1)
            assert stopped()
            with pytest.raises(stopping.CutOff):
                signal.raise_signal(signal.SIGUSR1)
    finally:
        signal.signal(signal.SIGUSR1, before)
        stopping._received.clear()


@pytest.mark.parametrize("encoding", ["cp437", "cp1252", "ascii"])
def test_what_a_code_page_lacks_ends_no_job(monkeypatch: pytest.MonkeyPatch, encoding: str) -> None:
    """A pipe of Windows has a code page: what that lacks becomes a question mark, or a plainer
    sign where it is part of a drawing; cp437 has most of those."""
    written = io.BytesIO()
    for name in ("stdout", "stderr"):
        monkeypatch.setattr(sys, name, io.TextIOWrapper(written, encoding=encoding))
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(), encoding=encoding))
    streams.check_streams()
    print("TIDE → 中")
    sys.stdout.flush()
    assert written.getvalue().rstrip() == b"TIDE ? ?"
    print("┤─━┄┃╳")
    sys.stdout.flush()
    drawn = "┤─=.|X".encode("cp437") if encoding == "cp437" else b"+-=.|X"
    assert written.getvalue().splitlines()[1] == drawn
