"""What an opening teaches of a board: whether it restarts, and so whether the next one warns."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.file import find_profile
from hostlink.errors import LinkError, RefusedError, UsageError
from hostlink.jobs.events import Event, MemoryLost
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.board_contents import read_contents
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session

# Kinds of practice board whose profiles expect a restart, with a banner (ready) and without.
KINDS = ["tiny", "capital", "token", "ready"]


def opened(archive: Archive, address: str, profile: str, *, may_restart: bool = False) -> list[str]:
    """Open a board, come to its prompt, close it; what was warned of."""
    told: list[Event] = []
    address = f"practice://{address}&time=virtual"
    choice = LinkChoice(address, find_profile(profile), may_restart=may_restart)
    with open_session(choice, told.append, archive=archive) as session:
        session.attach()
    return [str(each) for each in told if isinstance(each, Warned) or "Lost" in type(each).__name__]


def test_a_user_who_has_agreed_to_a_restart_is_not_warned_of_it_again(archive: Archive) -> None:
    """The app asks before it opens a port; what the opening did is told anyway."""
    told = opened(archive, "red?kind=ready", "ready", may_restart=True)
    assert not any("will probably restart" in each for each in told)
    assert any("restarted when its port was opened" in each for each in told)


@pytest.mark.parametrize("kind", KINDS[:3])
def test_a_board_that_was_opened_without_a_restart_is_not_warned_of_again(
    archive: Archive, kind: str
) -> None:
    """The first opening goes by what boards of its kind do; then what was seen decides, and nobody
    is told of a restart that was none."""
    (only,) = opened(archive, f"red?kind={kind}", kind)
    assert "will probably restart the board (boards of its kind do)" in only
    assert opened(archive, "red?", kind) == []
    assert archive.boards()[0].restarts_on_open is False


def test_what_was_seen_last_decides(archive: Archive) -> None:
    """A board that was just switched on is heard starting; the next opening shows that no opening
    restarts it, and the one after is not warned of."""
    _, lost = opened(archive, "red?kind=ready", "ready")
    assert "The board restarted when its port was opened" in lost
    (only,) = opened(archive, "red?", "ready")
    assert "will probably restart" in only
    assert opened(archive, "red?", "ready") == []


@pytest.mark.parametrize("job", ["load", "save", "read"])
def test_an_opening_that_may_have_emptied_memory_unnoticed_is_told(
    archive: Archive, job: str
) -> None:
    """The profile names another greeting than the board's (found by the soak: done, and silent)."""
    told: list[Event] = []
    profile = find_profile("practice")
    talk = dataclasses.replace(profile.talk, banner="another greeting", restarts_on_open=True)
    profile = dataclasses.replace(profile, talk=talk)
    address = "practice://red?restarts_on_open=yes&time=virtual"
    with open_session(LinkChoice(address, profile), told.append, archive=archive) as session:
        if job == "load":
            load(session, archive, from_bytes(b"10 END\n", "new.bas", name="NEW"), LoadOptions())
        elif job == "read":
            read_contents(session, archive)
        else:
            with pytest.raises(RefusedError):
                save(session, archive, SaveOptions("MINE"))
    (lost,) = [str(each) for each in told if isinstance(each, MemoryLost)]
    assert "may have restarted it and emptied its memory" in lost


@pytest.mark.parametrize("kind", KINDS)
def test_a_board_that_was_seen_to_restart_is_warned_of(archive: Archive, kind: str) -> None:
    """A twin of a profile restarts where its profile says so; it is told each time."""
    for why in ("boards of its kind do", "this board did at an earlier opening"):
        first, *_ = opened(archive, f"red?like={kind}", kind)
        assert f"will probably restart the board ({why})" in first
    assert archive.boards()[0].restarts_on_open is True


def test_a_speed_that_cannot_be_set_changes_nothing(table: Callable[..., Any]) -> None:
    """The port vanished: the session still talks as it did, not half by another profile."""

    class Vanished:
        def __init__(self, port: Any) -> None:
            self._port = port

        def __getattr__(self, name: str) -> Any:
            return getattr(self._port, name)

        @property
        def baudrate(self) -> int:
            return 9600

        @baudrate.setter
        def baudrate(self, _: int) -> None:
            raise LinkError("The port vanished.")

    board = table()
    with board.session() as session:
        session.attach()
        choice, dialogue, port = session.choice, session.dialogue, session.wire.port
        session.wire.port = Vanished(port)
        with pytest.raises(LinkError, match="vanished"):
            session.use(dataclasses.replace(choice, baud=1234))
        session.wire.port = port
        assert session.choice is choice
        assert session.dialogue is dialogue


def test_an_address_that_cannot_be_opened_is_refused_without_a_warning(archive: Archive) -> None:
    """Nobody is warned of a restart by an opening that cannot happen."""
    told: list[Event] = []
    choice = LinkChoice("practice://red?nosuch=1", find_profile("tiny"))
    with pytest.raises(UsageError, match="no option"):
        open_session(choice, told.append, archive=archive)
    assert told == []
