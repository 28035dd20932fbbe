"""A practice board that lives on between jobs, an archive, and sessions over it in virtual time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.link.clock import VirtualClock
from hostlink.listing import Listing
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

MOST_SECONDS = 900.0


class Table:
    """One board on a table with its archive. events: what the last session's job reported.

    on_event, on_write: called with each event and each burst of the host. pulses: how often the
    restart line was pulled.
    """

    def __init__(self, archive: Archive, monkeypatch: pytest.MonkeyPatch, **settings: Any) -> None:
        self.archive = archive
        self.clock = VirtualClock()
        self.machine = Machine(BoardSettings(**settings))
        self.events: list[Any] = []
        self.on_event: Callable[[Any], None] = lambda event: None  # noqa: ARG005
        self.on_write: Callable[[bytes], None] = lambda data: None  # noqa: ARG005
        self.cancelled = False
        self.pulses = 0
        self.name = "red"
        monkeypatch.setattr("hostlink.jobs.session.opening.open_port", self._open)

    def _open(self, name: str, baud: int) -> tuple[PracticePort, VirtualClock]:  # noqa: ARG002
        table = self

        class Port(PracticePort):
            def write(self, data: bytes) -> int:
                table.on_write(data)
                return super().write(data)

            @property
            def dtr(self) -> bool:
                return super().dtr

            @dtr.setter
            def dtr(self, value: bool) -> None:
                table.pulses += not value
                PracticePort.dtr.fset(self, value)  # type: ignore[attr-defined]

        port = Port(self.machine, self.clock, jump=self.clock.advance_to)
        port._origin = 0.0
        port.baudrate = baud
        return port, self.clock

    def plug_in_again(self) -> None:
        """After an unplug: the board starts from power-on, some seconds later."""
        self.machine.unplugged = False
        self.clock.sleep(5.0)
        self.machine.restart(self.clock.now())
        self.clock.sleep(3.0)

    @contextmanager
    def session(self, profile: str | Profile = "practice", port: str = "") -> Iterator[Session]:
        """A session over the board; what its jobs report is in `events`."""
        kind = find_profile(profile) if isinstance(profile, str) else profile
        self.events.clear()
        self.cancelled = False
        until = self.clock.now() + MOST_SECONDS

        def emit(event: Any) -> None:
            self.events.append(event)
            self.on_event(event)

        def stop() -> bool:
            assert self.clock.now() < until, "the job does not end"
            return self.cancelled

        choice = LinkChoice(port or f"practice://{self.name}", kind)
        with open_session(choice, emit, stop, archive=self.archive) as opened:
            yield opened

    def load(self, text: str, slot: str = "") -> None:
        """Have a listing in memory, and in a slot, as if typed by hand before."""
        listing = Listing.from_text(text).numbered()
        lines = {number: line.text.encode("latin-1") for number, line in listing.items()}
        self.machine.basic._state.memory.replace(lines)
        if slot:
            self.machine.basic.eeprom[slot] = lines

    @property
    def memory(self) -> dict[int, bytes]:
        return dict(self.machine.basic.lines)

    @property
    def stored(self) -> dict[str, dict[int, bytes]]:
        return {name: dict(lines) for name, lines in self.machine.basic.eeprom.items()}

    def said(self, kind: str) -> list[Any]:
        """The events of one kind, by the name of their class."""
        return [event for event in self.events if type(event).__name__ == kind]


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Practice boards are kept in the test's own folder."""
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    return tmp_path


@pytest.fixture
def archive(tmp_path: Path, _ready_archives: None) -> Iterator[Archive]:
    """A new archive."""
    with Archive.open(tmp_path / "archive.sqlite3") as opened:
        yield opened


@pytest.fixture
def table(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Table]:
    """Puts a board on the table: board settings by name."""

    def make(**settings: Any) -> Table:
        return Table(archive, monkeypatch, **settings)

    return make


@pytest.fixture
def hide() -> Callable[..., None]:
    """Makes a board never list one of its lines, though it holds it."""

    def hide(board: Any, number: int) -> None:
        basic = board.machine.basic
        real = basic.enter

        def enter(typed: bytes) -> Any:
            if typed.strip().upper() != b"LIST":
                return real(typed)
            memory = basic._state.memory
            kept = dict(memory.lines)
            memory.replace({n: text for n, text in kept.items() if n != number})

            def listed() -> Any:
                answer = yield from real(typed)
                memory.replace(kept)
                return answer

            return listed()

        basic.enter = enter

    return hide
