"""The user's own profiles: kept under a name, and given to the board that they were measured on."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from hostlink.archive import Archive
from hostlink.board.port.ports import Identity
from hostlink.board.profile.file import profiles_folder, shipped_profiles
from hostlink.board.profile.kinds import Name, Wrong
from hostlink.board.profile.model import HEARD, Profile
from hostlink.board.profile.text import profile_text
from hostlink.errors import RefusedError, UsageError
from hostlink.jobs.files import TakenError, is_there, write_new
from hostlink.jobs.session.remembering import forget


def check_new_name(name: str, *, replace: bool = True) -> None:
    """Refuse a name that a profile cannot be kept under, before anything is measured.

    Raises UsageError where it is no name or a shipped profile's, TakenError where one of the user's
    has it and may not be replaced.
    """
    try:
        Name().read(name)
    except Wrong as wrong:
        raise UsageError(
            f'"{name}" cannot be the name of a profile: {wrong}.', kept="Nothing was written."
        ) from None
    if name == HEARD:
        raise UsageError(
            f'"{name}" is what hostlink calls the profile of a board of no known kind.',
            kept="Nothing was written.",
            advice="Choose another name.",
        )
    if name in shipped_profiles():
        raise UsageError(
            f'"{name}" is the name of a profile that comes with hostlink.',
            kept="Nothing was written.",
            advice="Choose another name.",
        )
    if not replace and is_there(_path(name)):
        raise TakenError(
            f"{_path(name)} is there already and was not changed.",
            kept="Nothing was measured.",
            advice=lambda by: f"Choose another name, or let it be replaced {by.replace}.",
        )


def keep_profile(profile: Profile, name: str, *, replace: bool) -> Path:
    """Write a profile under a name by which `find_profile` finds it; where it is written.

    replace: consent to replace another one of the user's. Raises UsageError where the name cannot
    be one, TakenError where it is taken, RefusedError where it cannot be written.
    """
    check_new_name(name)
    text = profile_text(dataclasses.replace(profile, name=name))
    folder = profiles_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RefusedError(
            f"The folder of profiles, {folder}, cannot be made: {error.strerror or error}.",
            kept="Nothing was written.",
        ) from error
    write_new(_path(name), text.encode(), replace=replace)
    return _path(name)


def give_profile(archive: Archive, identity: Identity, name: str) -> None:
    """Note that the board at a port is talked to by a profile from now on. Raises ArchiveError."""
    board = archive.board_seen(
        vid=identity.vid,
        pid=identity.pid,
        serial=identity.serial,
        location=identity.location,
        profile=name,
    )
    forget(board.uuid)


def _path(name: str) -> Path:
    return profiles_folder() / f"{name}.toml"
