"""Boards elsewhere: whole loads, saves and restarts over the network.

The far end of `rfc2217://` is pyserial's own RFC 2217 server (serial.rfc2217.PortManager), which
speaks the published protocol and was not written by us; a practice board stands behind it. The far
end of `socket://` hands bytes over and nothing else.
"""

from __future__ import annotations

import contextlib
import dataclasses
import select
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import serial.rfc2217

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.file import find_profile
from hostlink.errors import LinkError, LinkReason, RefusedError
from hostlink.jobs.events import Event
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.restarting import restart
from hostlink.jobs.session.session import Session
from hostlink.link.clock import RealClock
from hostlink.link.opening import open_port
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

pytestmark = pytest.mark.filterwarnings(
    "ignore:set(Daemon|Name):DeprecationWarning"
)  # pyserial's own

LONGEST_S = 60.0  # a bound, not a wait
FAST = BoardSettings(baud=500_000, line_ms=2.0, restart_ms=100.0, latency_ms=0.0)
LISTING = "".join(f'{n} PRINT "LIGHT {n} OVER THE HARBOUR"\n' for n in range(10, 210, 10))


class Bridge:
    """A practice board as the serial port that pyserial's server asks for; DTR is noted."""

    bytesize, parity, stopbits = 8, "N", 1
    xonxoff = rtscts = False
    rts = break_condition = False
    cts = dsr = cd = True
    ri = False

    def __init__(self, port: PracticePort, line_up: bool) -> None:
        self.port = port
        self.baudrate = 9600
        self.lines: list[bool] = []
        if not line_up:
            port._dtr = False

    @property
    def dtr(self) -> bool:
        return self.port.dtr

    @dtr.setter
    def dtr(self, value: bool) -> None:
        self.lines.append(value)
        self.port.dtr = value

    def reset_input_buffer(self) -> None:
        self.port.reset_input_buffer()

    def reset_output_buffer(self) -> None:
        """A board takes bytes as they come; none wait."""


class Server:
    """A server for one caller, with a practice board behind it."""

    def __init__(
        self, scheme: str, *, line_up: bool = True, settings: BoardSettings = FAST
    ) -> None:
        self.machine = Machine(settings)
        self.bridge: Bridge | None = None
        self._scheme = scheme
        self._line_up = line_up
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(LONGEST_S)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    @property
    def address(self) -> str:
        return f"{self._scheme}://127.0.0.1:{self._listener.getsockname()[1]}"

    def close(self) -> None:
        self._stop.set()
        with contextlib.suppress(OSError), socket.create_connection(self._listener.getsockname()):
            pass  # whoever still waits for a caller is woken
        self._thread.join(LONGEST_S)
        self._listener.close()
        assert not self._thread.is_alive()

    def _serve(self) -> None:
        port = PracticePort(self.machine, RealClock())
        self.bridge = Bridge(port, self._line_up)
        caller, _ = self._listener.accept()
        with caller, contextlib.suppress(OSError):
            manager = None
            if self._scheme == "rfc2217":
                caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                connection = type("Connection", (), {"write": staticmethod(caller.sendall)})
                manager = serial.rfc2217.PortManager(self.bridge, connection)
            while not self._stop.is_set():
                if select.select([caller], [], [], 0.001)[0]:
                    data = caller.recv(4096)
                    if not data:
                        return
                    port.write(b"".join(manager.filter(data)) if manager else data)
                if waiting := port.in_waiting:
                    out = port.read(waiting)
                    caller.sendall(b"".join(manager.escape(out)) if manager else out)


@pytest.fixture
def server() -> Iterator[Callable[..., Server]]:
    """Start a server: server("socket"), server("rfc2217", line_up=False)."""
    made: list[Server] = []

    def start(scheme: str, **choices: Any) -> Server:
        made.append(Server(scheme, **choices))
        return made[-1]

    yield start
    for each in made:
        each.close()


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with Archive.open(tmp_path / "archive.sqlite3") as opened:
        yield opened


@pytest.fixture
def told() -> list[Event]:
    """The events of the sessions of this test."""
    return []


@pytest.fixture
def session(
    archive: Archive,
    told: list[Event],
    patient_clock: Callable[[], Any],
    monkeypatch: pytest.MonkeyPatch,
) -> Callable[[str], Session]:
    """Open a session over an address, with the practice board's profile."""
    profile = find_profile("practice")
    patient = lambda name, baud: (open_port(name, baud)[0], patient_clock())  # noqa: E731
    monkeypatch.setattr("hostlink.jobs.session.opening.open_port", patient)
    return lambda address: open_session(
        LinkChoice(address, profile, FAST.baud), told.append, archive=archive
    )


@pytest.mark.parametrize("scheme", ["rfc2217", "socket"])
def test_a_load_and_a_save_over_the_network_are_proven(
    scheme: str,
    server: Callable[..., Server],
    session: Callable[[str], Session],
    archive: Archive,
) -> None:
    """The board holds every line as sent, and the save gives the very listing back."""
    far = server(scheme)
    material = from_bytes(LISTING.encode(), "light.bas", name="LIGHT")
    with session(far.address) as here:
        loaded = load(here, archive, material, LoadOptions())
        saved = save(here, archive, SaveOptions("BACK"))
    assert loaded.report.repairs == 0
    assert loaded.report.lines == 20
    held = {n: text.decode() for n, text in far.machine.basic.lines.items()}
    assert held == {n: f'PRINT "LIGHT {n} OVER THE HARBOUR"' for n in range(10, 210, 10)}
    assert archive.content(saved.revision).text == LISTING
    assert saved.captures >= 2


def test_the_speed_reaches_the_far_end(
    server: Callable[..., Server], session: Callable[[str], Session]
) -> None:
    """RFC 2217 carries the speed (section 3, SET-BAUDRATE): the far port is set to ours."""
    far = server("rfc2217")
    with session(far.address) as here:
        here.attach()
    assert far.bridge is not None
    assert far.bridge.baudrate == FAST.baud


def test_a_deliberate_restart_is_a_pulse_of_dtr_at_the_far_end(
    server: Callable[..., Server], session: Callable[[str], Session], archive: Archive
) -> None:
    """Down and up, once; the banner comes back over the network, the program is kept before."""
    far = server("rfc2217")
    material = from_bytes(LISTING.encode(), "light.bas", name="LIGHT")
    with session(far.address) as here:
        load(here, archive, material, LoadOptions())
        before = len(far.bridge.lines)  # type: ignore[union-attr]
        done = restart(here, archive, consent=lambda _: True)
    assert far.bridge is not None
    assert far.bridge.lines[before:] == [False, True]
    assert done.held.spec == "LIGHT@1"
    assert done.at_prompt
    assert done.lines == 0
    assert far.machine.basic.lines == {}


def test_an_opening_that_restarts_the_far_board_is_noticed_and_remembered(
    server: Callable[..., Server],
    session: Callable[[str], Session],
    archive: Archive,
    told: list[Event],
) -> None:
    """A server that has its line down until somebody calls: opening raises it, the board starts."""
    slow = dataclasses.replace(FAST, restart_ms=700.0)  # longer than the protocol's own opening
    far = server("rfc2217", line_up=False, settings=slow)
    with session(far.address) as here:
        here.attach()
        assert here.restarts.memory_is_lost
    assert any(isinstance(each, Warned) and "lost its memory then" in each.text for each in told)
    (board,) = archive.boards()
    assert board.restarts_on_open is True
    assert board.location == far.address


def test_a_plain_connection_has_no_restart_line(
    server: Callable[..., Server], session: Callable[[str], Session], archive: Archive
) -> None:
    """Asked to restart, it is refused before anything is sent, with what to do instead."""
    far = server("socket")
    with session(far.address) as here, pytest.raises(RefusedError, match="no restart line"):
        restart(here, archive, consent=lambda _: True)
    assert far.machine.heard == 0


@pytest.mark.parametrize("scheme", ["rfc2217", "socket"])
def test_nobody_at_the_far_end_is_told(scheme: str, session: Callable[[str], Session]) -> None:
    """A refused connection is a link error at once, not a hang."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        number = listener.getsockname()[1]
    with pytest.raises(LinkError) as caught:
        session(f"{scheme}://127.0.0.1:{number}")
    assert caught.value.reason in (LinkReason.NOT_FOUND, LinkReason.UNKNOWN)
    assert caught.value.advice
