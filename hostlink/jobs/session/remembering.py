"""How a board of no known kind talks, as it was heard or as a file said, remembered for it alone.

One profile file a board, named by the board's uuid, in the folder `boards` of the user's profiles.
It is a convenience: where it cannot be written or read, the board is recognised anew.
"""

from __future__ import annotations

import contextlib
import dataclasses
from pathlib import Path

from hostlink.board.profile.file import (
    load_profile,
    profiles_folder,
    shipped_profiles,
    user_profiles,
)
from hostlink.board.profile.model import HEARD, Profile
from hostlink.board.profile.text import profile_text
from hostlink.errors import HostlinkError
from hostlink.jobs.files import write_new


def as_heard(profile: Profile) -> Profile:
    """A profile made of what one board was heard to do, under the name of those."""
    return dataclasses.replace(profile, name=HEARD, title="As this board was heard to talk")


def remember(board_uuid: str, profile: Profile) -> None:
    """Remember for one board how it was heard to talk, or a profile that was given as a file from
    elsewhere; forget it where a profile is used that is found by its name."""
    if profile.name in (*user_profiles(), *shipped_profiles()):
        forget(board_uuid)
    elif heard_before(board_uuid) != profile:
        path = _path(board_uuid)
        with contextlib.suppress(OSError, HostlinkError):
            path.parent.mkdir(parents=True, exist_ok=True)
            write_new(path, profile_text(profile).encode(), replace=True)


def forget(board_uuid: str) -> None:
    """Forget how a board was heard to talk: it has a profile of its own from now on."""
    with contextlib.suppress(OSError):
        _path(board_uuid).unlink(missing_ok=True)


def heard_before(board_uuid: str) -> Profile | None:
    """How a board was heard to talk when it was last used; None where that is not known."""
    path = _path(board_uuid)
    if not path.is_file():
        return None
    with contextlib.suppress(HostlinkError):
        return load_profile(path)
    return None


def _path(board_uuid: str) -> Path:
    return profiles_folder() / "boards" / f"{board_uuid}.toml"
