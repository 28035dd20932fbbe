"""What `boards` says of a board on which a load did not end proven."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.port.ports import identity_of
from hostlink.board.profile.file import find_profile
from hostlink.errors import HostlinkError, Interrupted, LinkError, ReadBackError
from hostlink.jobs.boards import KnownBoard, known_boards
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session

PORT = "practice://red?time=virtual"
# Without the question for the free memory, so that the board is found full while lines are sent.
PROFILE = find_profile("practice")
PROFILE = dataclasses.replace(
    PROFILE,
    commands=dataclasses.replace(PROFILE.commands, free_memory="", full_words=("! memory full",)),
)
SHORT = "10 PRINT 1\n"
LONG = "".join(f"{number} REM {number:040}\n" for number in range(10, 200, 10))


def loaded(archive: Archive, text: str, *, options: str = "", stop_at: int | None = None) -> None:
    """Load a listing; stopped in a turn of the wire where that is given."""
    turns = iter(range(1 << 30))
    choice = LinkChoice(f"{PORT}{options}", PROFILE)

    def cancelled() -> bool:
        return stop_at is not None and next(turns) > stop_at

    material = from_bytes(text.encode(), "listing.bas", name="LONG" if text == LONG else "SHORT")
    with open_session(choice, lambda _: None, cancelled, archive=archive) as session:
        load(session, archive, material, LoadOptions(despite_review=True))


def row(archive: Archive) -> KnownBoard:
    """What is known of the one board."""
    (only,) = known_boards(archive, [identity_of(PORT)])
    return only


@pytest.mark.parametrize(
    ("how", "error", "said"),
    [
        ({"stop_at": 900}, Interrupted, "was stopped"),
        ({"options": "&unplug_after_bytes=900"}, LinkError, "was cut off"),
        ({"options": "&program_bytes=400"}, ReadBackError, "found the memory full"),
    ],
)
def test_a_load_that_did_not_end_proven_is_not_shown_as_proven(
    archive: Archive, how: dict[str, Any], error: type[HostlinkError], said: str
) -> None:
    """The proof of what was there before says nothing of it, and how it ended is told."""
    loaded(archive, SHORT)
    assert row(archive).holds == "SHORT@1"
    assert row(archive).holds_proven_at
    with pytest.raises(error):
        loaded(archive, LONG, **how)
    assert row(archive).holds == f"left of a load of LONG@1 that {said}"
    assert row(archive).holds_proven_at == ""
    assert "proven" not in row(archive).held_words


def test_what_was_saved_of_it_keeps_the_mark(archive: Archive) -> None:
    """It has a name then, and is still no whole program."""
    with pytest.raises(Interrupted):
        loaded(archive, LONG, stop_at=900)
    with open_session(LinkChoice(PORT, PROFILE), lambda _: None, archive=archive) as here:
        save(here, archive, SaveOptions("REST", "", True))
    assert row(archive).held_words == "REST@1, left of a load of LONG@1 that was stopped"
    with pytest.raises(LinkError):  # while it is read what the board holds
        loaded(archive, SHORT, options="&unplug_after_bytes=9")
    other = from_bytes(SHORT.encode(), "short.bas", name="REST")
    archive.keep("REST", other.content(PROFILE), other.origin)  # saved from another board
    with open_session(LinkChoice(PORT, PROFILE), lambda _: None, archive=archive) as here:
        again = save(here, archive, SaveOptions("REST", "", True))
    assert again.revision.spec == "REST@3"
    assert again.revision.origin.unproven == "left of a load of LONG@1 that was stopped"
    loaded(archive, LONG)
    assert row(archive).held_words.startswith("LONG@1, proven ")
