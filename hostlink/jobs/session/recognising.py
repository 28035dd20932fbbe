"""Choosing the profile of a board: named, remembered, or recognised by how the board talks."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Emit
from hostlink.board.port.ports import Identity, identity_of
from hostlink.board.profile.file import find_profile, shipped_profiles, user_profiles
from hostlink.board.profile.model import CAREFUL, HEARD, Profile
from hostlink.board.recognise import Recogniser
from hostlink.board.recognised import Recognised
from hostlink.errors import HostlinkError
from hostlink.jobs.session.last_known import known_board
from hostlink.jobs.session.remembering import heard_before
from hostlink.link.wire import Wire

PRACTICE = "practice"
# These describe a language or an unknown board, not how a kind of board talks.
_NO_BOARDS = (CAREFUL, HEARD, "ecma-55")


def remembered_profile(archive: Archive | None, identity: Identity) -> Profile | None:
    """Return the profile used before with the board at a port; None for a new board."""
    board = known_board(archive, identity) if archive is not None else None
    if board is None:
        return None
    if heard := heard_before(board.uuid):
        return heard
    if not board.profile:
        return None
    with suppress(HostlinkError):  # the profile may have been removed
        return find_profile(board.profile)
    return None


def choose_profile(archive: Archive | None, port: str, named: str = "") -> tuple[Profile, bool]:
    """Return the profile to begin with at a port, and whether it is only a guess.

    It is the named one, else the one used before with the board there, else for a practice board
    its own, else the careful one, which is a guess: the board has to be recognised. Raises
    UsageError or ProfileError if the named one cannot be used.
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
    """Return the profile to begin with when nothing is known."""
    return find_profile(CAREFUL)


def recognisable_kinds() -> Iterator[Profile]:
    """Yield the kinds that a board may be recognised as: the user's own, then those shipped."""
    for name in [*user_profiles(), *shipped_profiles()]:
        if name not in _NO_BOARDS:
            with suppress(HostlinkError):  # a faulty one is reported when it is named
                yield find_profile(name)


def kinds_of(profile: Profile, *, is_guess: bool) -> tuple[Profile, ...]:
    """Return the kinds that a board may be, the expected one first.

    A profile that only describes a language, or an unknown board, is not a kind.
    """
    named = () if is_guess or profile.name in _NO_BOARDS else (profile,)
    return (
        *named,
        *(kind for kind in recognisable_kinds() if kind.name != profile.name or not named),
    )


def recognise(
    wire: Wire, named: Profile | None, emit: Emit, *, may_stop: bool, starts: bool
) -> Recognised:
    """Find out how the board at the other end talks.

    named: the profile named by the user, whose values are used for whatever was not heard; None to
    consider all kinds, with careful values for whatever was not heard. starts: as for `Recogniser`.
    Raises LinkError if the board gives no readable answer.
    """
    known = tuple(recognisable_kinds()) if named is None else (named,)
    profile = named or careful_profile()
    return Recogniser(wire, known, profile, emit, may_stop=may_stop, starts=starts).run()
