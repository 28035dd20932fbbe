"""A listing that is too large, on a kind of board whose costs are not known to the byte."""

from __future__ import annotations

import pytest

from hostlink.archive import Archive
from hostlink.board.dialogue.events import LineSent, Phase, Warned
from hostlink.board.profile.file import find_profile
from hostlink.errors import HostlinkError, RefusedError
from hostlink.jobs.events import Event
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session

PROFILE = find_profile("token")  # storage.exact is false there
MINE = "10 PRINT 1\n"


def loaded(archive: Archive, text: str, name: str) -> list[Event]:
    """Load a listing into a board with 300 bytes for programs; what was told meanwhile."""
    told: list[Event] = []
    choice = LinkChoice("practice://red?kind=token&program_bytes=300&time=virtual", PROFILE)
    material = from_bytes(text.encode(), f"{name}.bas", name=name)
    with open_session(choice, told.append, archive=archive) as session:
        try:
            load(session, archive, material, LoadOptions(despite_review=True))
        except HostlinkError as error:
            error.told = told  # type: ignore[attr-defined]
            raise
    return told


def test_what_surely_does_not_fit_is_refused_before_anything_is_cleared(archive: Archive) -> None:
    """Quoted text alone is more than the board has: nothing is sent, and what was kept is said."""
    loaded(archive, MINE, "MINE")
    large = "".join(f'{n} PRINT "{n:050}"\n' for n in range(10, 110, 10))
    with pytest.raises(RefusedError, match="it takes at least 540 bytes") as refused:
        loaded(archive, large, "LARGE")
    assert "The program on the board was not touched." in refused.value.kept
    assert "What it held before is kept as MINE@1." in refused.value.kept
    assert not [each for each in refused.value.told if isinstance(each, LineSent)]  # type: ignore[attr-defined]


def test_what_may_not_fit_is_said_once_before_the_memory_is_cleared(archive: Archive) -> None:
    """By the profile's costs it is over, by what a board takes at least it is not."""
    loaded(archive, MINE, "MINE")
    large = "".join(f"{n} LET A=A+1:LET B=B+2\n" for n in range(10, 310, 10))
    try:
        told = loaded(archive, large, "LARGE")
    except HostlinkError as error:
        told = error.told  # type: ignore[attr-defined]
    places = [
        at
        for at, each in enumerate(told)
        if isinstance(each, Warned) and "may not fit: the board has about" in each.text
    ]
    assert len(places) == 1
    assert any(
        isinstance(each, Phase) and each.text.startswith("Clearing") for each in told[places[0] :]
    )
