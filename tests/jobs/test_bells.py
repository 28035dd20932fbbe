"""A board that answers what is typed with a bell: it waits for a key, or its memory is full."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from scripted_board import PROMPT, ScriptedBoard

from hostlink.archive import Archive
from hostlink.board.dialogue.sending import DeafError
from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import in_commands
from hostlink.errors import LinkError
from hostlink.jobs.listing_source import Material, from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.link.clock import VirtualClock

HALT = "[N]EXT [S]TOP "


class Belling(ScriptedBoard):
    """A board that stores lines. page: rows that it lists before it wants N. room: for how many
    lines; when one more came it answers each key with a bell."""

    def __init__(self, *, page: int = 99, room: int = 99) -> None:
        super().__init__(VirtualClock(), self._answer)
        self.held: dict[int, str] = {}
        self.waits = self.is_full = False
        self._page, self._room = page, room

    def _key(self, byte: int) -> None:
        if self.waits:
            self._send(b"\a")
        elif self.is_full:
            self._send(b"\r\n\a" + PROMPT if byte == 13 else b"\a")
        else:
            super()._key(byte)

    def _answer(self, line: str) -> bytes:
        number, _, text = line.partition(" ")
        rows: list[str] = []
        if number.isdigit():
            self.held.pop(int(number), None)
            if text and len(self.held) == self._room:
                self.is_full = True
                return b"\a" + PROMPT
            if text:
                self.held[int(number)] = text
        elif line == "NEW":
            self.held.clear()
        elif line == "LIST":
            rows = [f"{each} {self.held[each]}\r\n" for each in sorted(self.held)]
            if len(rows) > self._page:
                self.waits = True
                return "".join([*rows[: self._page], HALT]).encode()
        elif number != "REM":
            rows = ["WHAT?\r\n"]
        return "".join(rows).encode() + PROMPT

    @contextmanager
    def session(self, archive: Archive) -> Iterator[Session]:
        choice = LinkChoice("red", find_profile("tiny"), is_guess=True)
        with open_session(choice, lambda _: None, archive=archive) as opened:
            yield opened


@pytest.fixture
def put(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[object]:
    """Puts a board at the port."""
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path / "profiles"))

    def put(board: Belling) -> Belling:
        monkeypatch.setattr(
            "hostlink.jobs.session.opening.open_port", lambda *_: (board, board.clock)
        )
        return board

    yield put


def material(lines: int) -> Material:
    text = "".join(f"{number} LET A={number}\n" for number in range(10, 10 + 10 * lines, 10))
    return from_bytes(text.encode(), "long.bas", name="LONG")


def test_a_page_that_wants_another_key_is_shown(put: Any, archive: Archive) -> None:
    """The load says where the board stands and that it answers with bells; so does the next job."""
    board = put(Belling(page=10))
    with board.session(archive) as session, pytest.raises(LinkError) as caught:
        load(session, archive, material(15), LoadOptions())
    assert "[N]EXT [S]TOP" in caught.value.what
    assert "bell" in caught.value.what
    assert "waiting for a key" in in_commands(caught.value.advice)
    assert len(board.held) == 15
    with board.session(archive) as session, pytest.raises(LinkError) as caught:
        save(session, archive, SaveOptions(name="LONG"))
    assert "answers what is typed with a bell" in caught.value.what
    assert "console" in in_commands(caught.value.advice)


def test_a_full_memory_that_answers_with_bells_is_named(put: Any, archive: Archive) -> None:
    """In the load that filled it, and in the next job."""
    board = put(Belling(room=8))
    with board.session(archive) as session, pytest.raises(DeafError, match="memory is full"):
        load(session, archive, material(15), LoadOptions())
    with board.session(archive) as session, pytest.raises(LinkError, match=r"so full|a bell"):
        save(session, archive, SaveOptions(name="LONG"))
