"""Talking to a board of a kind that nobody named: recognised by how it talks, and remembered."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Emit
from hostlink.board.port.ports import Identity, identity_of
from hostlink.board.profile.file import find_profile, shipped_profiles, user_profiles
from hostlink.board.profile.model import CAREFUL, HEARD, Profile
from hostlink.board.recognise import Recognised, Recogniser
from hostlink.errors import HostlinkError
from hostlink.jobs.session.attaching import known_board
from hostlink.jobs.session.remembering import heard_before
from hostlink.link.wire import Wire

PRACTICE = "practice"
# These say how a language is, not how a board of theirs talks.
_NO_BOARDS = (CAREFUL, HEARD, "ecma-55")


def remembered_profile(archive: Archive | None, identity: Identity) -> Profile | None:
    """The profile that the board at a port was used with before, or what it was heard to talk like;
    None for a new one."""
    board = known_board(archive, identity) if archive is not None else None
    if board is None:
        return None
    if heard := heard_before(board.uuid):
        return heard
    if not board.profile:
        return None
    with suppress(HostlinkError):  # of a profile that is there no more
        return find_profile(board.profile)
    return None


def choose_profile(archive: Archive | None, port: str, named: str = "") -> tuple[Profile, bool]:
    """Return the profile to begin with at a port, and whether it is only a guess.

    It is the one named, else the one that the board there was used with before, else for a practice
    board its own, else the careful one: that is a guess, and the board is to be recognised.
    Raises UsageError or ProfileError where the one named cannot be used.
    """
    if named:
        return find_profile(named), False
    remembered = remembered_profile(archive, identity_of(port)) if port else None
    if remembered is not None:
        return remembered, False
    if not port or (port.startswith("practice:") and "kind=" not in port and "like=" not in port):
        return find_profile(PRACTICE), False
    return careful_profile(), True


def careful_profile() -> Profile:
    """The profile to begin with where nothing is known."""
    return find_profile(CAREFUL)


def kinds() -> Iterator[Profile]:
    """The kinds that a board may be recognised as: the user's own first, then those shipped."""
    for name in [*user_profiles(), *shipped_profiles()]:
        if name not in _NO_BOARDS:
            with suppress(HostlinkError):  # one that is wrong is told when it is named
                yield find_profile(name)


def kinds_of(profile: Profile, *, is_guess: bool) -> tuple[Profile, ...]:
    """The kinds that a board may be, the one that it was thought to be first.

    A profile that says only what a language is, or that nothing is known, is no kind of board.
    """
    named = () if is_guess or profile.name in _NO_BOARDS else (profile,)
    return (*named, *(kind for kind in kinds() if kind.name != profile.name or not named))


def recognise(wire: Wire, named: Profile | None, emit: Emit, *, may_stop: bool) -> Recognised:
    """Find out how the board at the other end talks.

    named: the profile that the user named, whose values stand where nothing was heard; None where
    nobody did: then any kind may be taken, and what was not heard is the careful value. Raises
    LinkError where the board gives no readable answer.
    """
    known = tuple(kinds()) if named is None else (named,)
    profile = named or careful_profile()
    return Recogniser(wire, known, profile, emit, may_stop=may_stop).run()
