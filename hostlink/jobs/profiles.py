"""The user's own profiles: keep one under a name, and assign it to a board."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from hostlink.archive import Archive
from hostlink.board.port.ports import Identity
from hostlink.board.profile.file import IS_SHIPPED_NAME, profiles_folder, shipped_profiles
from hostlink.board.profile.kinds import Name, Wrong
from hostlink.board.profile.model import HEARD, Profile
from hostlink.board.profile.text import profile_text
from hostlink.errors import RefusedError, UsageError, file_errors
from hostlink.jobs.files import TakenError, is_there, write_new
from hostlink.jobs.session.remembering import forget
from hostlink.sentences import no_name_of


def check_new_name(name: str, *, replace: bool = True) -> None:
    """Check the name for a new profile before anything is measured.

    Raises UsageError if it is not a valid name or belongs to a shipped profile, TakenError if the
    user has a profile of that name which may not be replaced.
    """
    try:
        Name().read(name)
    except Wrong as wrong:
        raise UsageError(
            f"{no_name_of('profile', name)}: {wrong}.", kept="Nothing was written."
        ) from None
    if name == HEARD:
        raise UsageError(
            f'"{name}" is what hostlink calls the profile of a board of no known kind.',
            kept="Nothing was written.",
            advice="Choose another name.",
        )
    if name in shipped_profiles():
        raise UsageError(
            f'"{name}" {IS_SHIPPED_NAME}.',
            kept="Nothing was written.",
            advice="Choose another name.",
        )
    if not replace and is_there(_path(name)):
        raise TakenError(
            f"{_path(name)} is there already and was not changed.",
            kept="Nothing was measured.",
            advice=lambda by: f"Choose another name, or replace it {by.replace}.",
        )


def keep_profile(profile: Profile, name: str, *, replace: bool) -> Path:
    """Write a profile under a name for `find_profile`; return the path of its file.

    replace: consent to replace a profile of the user. Raises UsageError if the name is not valid,
    TakenError if it is taken, RefusedError if the file cannot be written.
    """
    check_new_name(name)
    text = profile_text(dataclasses.replace(profile, name=name))
    folder = profiles_folder()
    unmade = f"The folder of profiles, {folder}, cannot be made"
    with file_errors(RefusedError, unmade, kept="Nothing was written."):
        folder.mkdir(parents=True, exist_ok=True)
    write_new(_path(name), text.encode(), replace=replace)
    return _path(name)


def give_profile(archive: Archive, identity: Identity, name: str) -> None:
    """Assign a profile to the board at a port from now on. Raises ArchiveError."""
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
