"""A bench: one practice machine whose memory the test can see, an archive, and what was told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Revision
from hostlink.board.profile.file import find_profile
from hostlink.jobs.events import Event
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import Loaded, LoadOptions, load
from hostlink.jobs.saving import Saved, SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.link.clock import VirtualClock
from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings


class Bench:
    """One board. `machine` may be replaced at any time, as by other hardware on the same port."""

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self.told: list[Event] = []
        self.machine = Machine()
        self.clock = VirtualClock()

    def put(
        self,
        settings: BoardSettings | None = None,
        faults: Faults | None = None,
        *,
        holds: dict[int, str] | None = None,
    ) -> Machine:
        """Another machine at the port, with a program in its memory."""
        self.machine = Machine(settings, faults)
        self.type_in(holds or {})
        return self.machine

    def type_in(self, lines: dict[int, str]) -> None:
        """Change the memory behind the wire's back, as somebody at the board's keyboard would."""
        held = {**self.machine.basic.lines, **{n: text.encode() for n, text in lines.items()}}
        self.machine.basic._state.memory.replace({n: text for n, text in held.items() if text})

    @property
    def memory(self) -> dict[int, str]:
        """What the board's memory really holds."""
        lines = self.machine.basic.lines
        return {number: text.decode("latin-1").strip() for number, text in lines.items()}

    def open(self, name: str, baud: int) -> tuple[PracticePort, VirtualClock]:  # noqa: ARG002
        """Stands in for hostlink.link.opening.open_port."""
        port = PracticePort(self.machine, self.clock, jump=self.clock.advance_to)
        port._origin = 0.0
        return port, self.clock

    def session(self, cancelled: Callable[[], bool] = lambda: False) -> Session:
        """A session at the port; use with `with`."""
        choice = LinkChoice("practice://bench", find_profile("practice"))
        return open_session(choice, self.told.append, cancelled, archive=self.archive)

    def load(self, text: str, name: str = "", *, discard_board: bool = False) -> Loaded:
        """Load a listing in a session of its own."""
        material = from_bytes(text.encode(), f"{name or 'nameless'}.bas", name=name)
        options = LoadOptions(discard_board=discard_board)
        with self.session() as session:
            return load(session, self.archive, material, options)

    def save(self, name: str = "", *, after_restart: bool = False) -> Saved:
        """Save in a session of its own."""
        options = SaveOptions(name, after_restart=after_restart)
        with self.session() as session:
            return save(session, self.archive, options)

    def lines_of(self, spec: str) -> dict[int, str]:
        """The lines of a revision or rescue in the archive."""
        return lines_in(self.archive.content(self.archive.revision(spec)))

    def saved_from_boards(self) -> list[Revision]:
        """Every revision that came from a board."""
        return [
            revision
            for program in self.archive.programs(retired=None)
            for revision in self.archive.history(program.name)
            if revision.origin.kind == "board"
        ]


def lines_in(content: Content) -> dict[int, str]:
    """A kept listing as line number to text, read without hostlink's own parser."""
    rows = [row.partition(" ") for row in content.text.splitlines()]
    return {int(number): text.strip() for number, _, text in rows}


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    """A bench with an empty board and an empty archive."""
    with Archive.open(tmp_path / "bench.sqlite3") as archive:
        made = Bench(archive)
        monkeypatch.setattr("hostlink.jobs.session.opening.open_port", made.open)
        yield made
