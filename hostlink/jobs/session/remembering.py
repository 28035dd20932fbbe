"""Remembering how a board of unknown kind talks, as recognised or as given in a profile file.

Each such board has a profile file named by its UUID, in the folder `boards` of the user's profiles.
If the file cannot be written or read, the board is recognised again.
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
    """Return a profile renamed as one that was recognised from the behaviour of a board."""
    return dataclasses.replace(profile, name=HEARD, title="Recognised from this board's answers")


def remember(board_uuid: str, profile: Profile) -> None:
    """Remember the profile of a board, unless it can be found by its name."""
    if profile.name in (*user_profiles(), *shipped_profiles()):
        forget(board_uuid)
    elif heard_before(board_uuid) != profile:
        path = _path(board_uuid)
        with contextlib.suppress(OSError, HostlinkError):
            path.parent.mkdir(parents=True, exist_ok=True)
            write_new(path, profile_text(profile).encode(), replace=True)


def forget(board_uuid: str) -> None:
    """Forget the remembered profile of a board, which uses a named one from now on."""
    with contextlib.suppress(OSError):
        _path(board_uuid).unlink(missing_ok=True)


def heard_before(board_uuid: str) -> Profile | None:
    """Return the remembered profile of a board; None if there is none."""
    path = _path(board_uuid)
    if not path.is_file():
        return None
    with contextlib.suppress(HostlinkError):
        return load_profile(path)
    return None


def _path(board_uuid: str) -> Path:
    return profiles_folder() / "boards" / f"{board_uuid}.toml"
