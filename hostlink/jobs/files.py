"""Files that a person names: read up to the size of a listing, written whole and never unasked."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from hostlink.errors import ListingError, RefusedError
from hostlink.jobs.rehearsing import is_rehearsal
from hostlink.listing.source import LIMIT
from hostlink.reading import read_at_most


class TakenError(RefusedError):
    """There is a file of that name already, and nobody said that it may be replaced."""


def named_path(words: str) -> Path:
    """The path that a person means: quotes around it taken off, ~ for the home folder."""
    path = Path(words.strip().strip("'\""))
    try:
        return path.expanduser()
    except RuntimeError:  # ~ before a name that nobody has here
        return path


def is_there(path: Path) -> bool:
    """Whether a name is taken; never raises, as Path.exists does for a name too long."""
    return os.path.exists(path)  # noqa: PTH110


def write_new(path: Path, content: bytes, *, replace: bool) -> None:
    """Write a file whole or not at all; an existing one only with consent."""
    if is_there(path) and not replace:
        raise TakenError(
            f"{path} exists already.",
            kept="It was not changed.",
            advice=lambda by: f"Name another file, or let it be replaced {by.replace}.",
        )
    if is_rehearsal():
        return
    temporary = path.parent / f".{path.name}.new"
    try:
        temporary.write_bytes(content)
        temporary.replace(path)
    except (OSError, ValueError) as error:
        with contextlib.suppress(OSError, ValueError):
            temporary.unlink(missing_ok=True)
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise RefusedError(
            f"{path} cannot be written: {why}.",
            kept="Nothing was changed.",
            advice="Name another file or folder.",
        ) from error


def read_bytes(path: Path, most: int = LIMIT) -> bytes:
    """A file's bytes, at most one more than `most`, by which a larger one is known. Raises
    ListingError where it cannot be read."""
    try:
        return read_at_most(path, most + 1)
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise ListingError(
            f"The file {path} cannot be read: {why}.",
            kept="Nothing was changed.",
            advice="Check the name of the file.",
        ) from error
