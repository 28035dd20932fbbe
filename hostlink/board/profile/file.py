"""Find profiles and load them from files: shipped ones, the user's own, or any TOML file."""

from __future__ import annotations

import contextlib
import os
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from hostlink.board.profile.model import Profile
from hostlink.board.profile.text import read_profile
from hostlink.board.profile.toml_file import LARGEST_FILE, toml_text
from hostlink.board.profile.written import short_value
from hostlink.errors import HostlinkError, ProfileError, UsageError
from hostlink.sentences import CHECK_FILE
from hostlink.words import natural, nearest

IS_SHIPPED_NAME = "has the name of a profile that comes with hostlink"


def load_profile(path: Path | Traversable) -> Profile:
    """Load a profile from a file. Raises `ProfileError` if it is missing, unreadable or invalid."""
    name = _name_of(path)
    try:
        if not path.is_file():
            kind = "is a folder" if path.is_dir() else "is not there, or is not a file"
            raise ProfileError(f"{name} {kind}, so there is no profile to read.", advice=CHECK_FILE)
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ProfileError(
            f"{name} cannot be read: {reason}.", advice="Check that you may read the file."
        ) from error
    return read_profile(toml_text(data, name, ProfileError), name)


def shipped_profiles() -> dict[str, Traversable]:
    """Return the profiles shipped with hostlink, name to file, sorted by name."""
    folder = files("hostlink.board") / "profiles"
    found = {item.name[:-5]: item for item in folder.iterdir() if item.name.endswith(".toml")}
    return {name: found[name] for name in sorted(found, key=natural)}


def profiles_folder() -> Path:
    """Return the folder of the user's own profiles: $HOSTLINK_PROFILES or the default one."""
    if folder := os.environ.get("HOSTLINK_PROFILES"):
        return Path(folder)
    import platformdirs

    return Path(platformdirs.user_config_dir("hostlink")) / "profiles"


def user_profiles() -> dict[str, Path]:
    """Return the user's own profiles, name to file, sorted by name. Empty without a folder."""
    try:
        found = [item for item in profiles_folder().iterdir() if item.suffix == ".toml"]
    except OSError:
        return {}
    return {item.stem: item for item in sorted(found, key=lambda item: natural(item.stem))}


def find_profile(word: str) -> Profile:
    """Load the profile called `word`: a shipped one, one of the user's own, or a .toml file.

    Raises `UsageError` if there is none. Raises `ProfileError` if it is invalid, if a user's
    profile has the name of a shipped one, or if the name inside a file differs from its file name.
    """
    if word.lower().endswith(".toml"):
        return load_profile(Path(word))
    name = word.lower()
    shipped, own = shipped_profiles(), user_profiles()
    if name in own:
        place = _name_of(own[name])
        if name in shipped:
            raise ProfileError(
                f"{place} {IS_SHIPPED_NAME}.",
                kept="Neither was used.",
                advice="Rename the file, and change the name in its [board] too.",
            )
        profile = load_profile(own[name])
        if profile.name != name:
            raise ProfileError(
                f'{place} calls itself "{profile.name}", and its file has another name.',
                advice="Make the two the same.",
            )
        return profile
    if name in shipped:
        return load_profile(shipped[name])
    from hostlink.practice.kind_file import kind_names

    known = [*shipped, *own]
    if name in kind_names():
        raise UsageError(
            f"There is no profile {short_value(word)}; it is a kind of practice board only.",
            advice=f"A survey of it makes one. Known: {', '.join(known)}.",
        )
    near = " or ".join(f'"{each}"' for each in nearest(name, known))
    raise UsageError(
        f"There is no profile {short_value(word)}." + (f" Did you mean {near}?" if near else ""),
        advice=f"Known: {', '.join(known)}; or give a .toml file.",
    )


def profile_or_practice(name: str) -> Profile:
    """Return a profile, or that of the practice board if none is named or it cannot be used."""
    with contextlib.suppress(HostlinkError):
        return find_profile(name or "practice")
    return find_profile("practice")


def _name_of(path: Path | Traversable) -> str:
    name = str(path)
    return name if name.isprintable() else short_value(name)[1:-1]
