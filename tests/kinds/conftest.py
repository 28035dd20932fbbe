"""A practice board of any kind on a virtual clock, an archive, and jobs over it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from basic_runs import drive
from soak_kinds import boards_of, profile_of

from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.jobs.events import Event
from hostlink.jobs.listing_source import Material, from_bytes
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.link.clock import VirtualClock
from hostlink.practice.basic import Basic
from hostlink.practice.kind_file import find_kind
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort

MOST_SECONDS = 900.0  # of virtual time, for one session


class Bench:
    """One board with its archive. events: what the last session's job reported."""

    def __init__(self, archive: Archive, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
        self.archive = archive
        self.clock = VirtualClock()
        self.events: list[Event] = []
        self.start(kind)
        monkeypatch.setattr("hostlink.jobs.session.opening.open_port", self._open)

    def start(self, kind: str, **changed: Any) -> None:
        """Put a new board on the bench. changed: settings in place of its kind's."""
        self.kind = boards_of(find_kind(kind), **changed)
        self.profile = profile_of(self.kind)
        self.machine = Machine(kind=self.kind)
        self.machine.basic.answered = True
        self.machine.resume()
        now = self.clock.now()
        self.machine.run_until(now)  # it has been at its prompt for long
        self.clock.sleep(1.0)
        self.machine.run_until(now + 1.0)
        self.machine.host_reads(now + 1.0, 1 << 16)
        self._port = f"practice://{kind}?kind={kind}"

    def _open(self, _name: str, baud: int) -> tuple[PracticePort, VirtualClock]:
        port = PracticePort(self.machine, self.clock, jump=self.clock.advance_to)
        port._origin = 0.0
        port.baudrate = baud
        return port, self.clock

    @contextmanager
    def session(
        self, profile: Profile | None = None, *, unknown: bool = False
    ) -> Iterator[Session]:
        """A session by the profile that fits. unknown: by none, so that the board is recognised."""
        until = self.clock.now() + MOST_SECONDS
        self.events.clear()

        def stop() -> bool:
            assert self.clock.now() < until, "the job does not end"
            return False

        talk = find_profile("tiny") if unknown else profile or self.profile
        choice = LinkChoice(self._port, talk, is_guess=unknown, is_named=not unknown)
        with open_session(choice, self.events.append, stop, archive=self.archive) as opened:
            yield opened

    def held_after(self, text: str) -> dict[int, bytes]:
        """What a board of this kind holds when a listing was typed at it."""
        board = Basic(dataclasses.replace(self.kind))
        for row in text.splitlines():
            drive(board.enter(row.encode("latin-1")))
        return dict(board.lines)

    def put(self, text: str) -> None:
        """Have a program in memory, as if typed before."""
        self.machine.basic._state.memory.replace(self.held_after(text))

    @property
    def memory(self) -> dict[int, bytes]:
        return dict(self.machine.basic.lines)

    @property
    def stored(self) -> list[dict[int, bytes]]:
        return [dict(lines) for lines in self.machine.basic.eeprom.values()]

    @property
    def lists_stored(self) -> bool:
        """Whether a command shows what is stored. Else the board refuses to recall from an empty
        place as it refuses a word that it does not know: the user has to say that it is empty."""
        return bool(self.profile.commands.stored or self.profile.commands.list_stored)

    def material(self, text: str, name: str = "TIDE") -> Material:
        """A listing as it comes from a file."""
        return from_bytes(text.encode("latin-1"), name, name=name)


@pytest.fixture
def archive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, _ready_archives: None
) -> Iterator[Archive]:
    """A new archive."""
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    with Archive.open(tmp_path / "archive.sqlite3") as opened:
        yield opened


@pytest.fixture
def bench(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Bench]:
    """Puts a board of a kind on the bench."""

    def make(kind: str) -> Bench:
        return Bench(archive, monkeypatch, kind)

    return make
