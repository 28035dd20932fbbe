"""Files named by the user: size-limited reading, complete writing, no replacing without consent."""

from __future__ import annotations

import os
from contextlib import AbstractContextManager
from pathlib import Path

from hostlink.errors import HostlinkError, ListingError, RefusedError, file_errors
from hostlink.jobs.rehearsing import is_rehearsal
from hostlink.listing.source import LIMIT
from hostlink.reading import read_at_most
from hostlink.sentences import CHECK_FILE, name_another_file
from hostlink.writing import write_whole


class TakenError(RefusedError):
    """A file of that name exists, and there is no consent to replace it."""


def named_path(words: str) -> Path:
    """Return a typed path without surrounding quotes, with ~ as the home folder."""
    path = Path(words.strip().strip("'\""))
    try:
        return path.expanduser()
    except RuntimeError:  # ~ with an unknown user name
        return path


def is_there(path: Path) -> bool:
    """Return whether a path exists; unlike Path.exists, False if the name is too long."""
    return os.path.exists(path)  # noqa: PTH110


def write_new(path: Path, content: bytes, *, replace: bool) -> None:
    """Write a file completely or not at all; replace an existing one only with consent."""
    if os.path.isdir(path):  # noqa: PTH112
        raise RefusedError(
            f"{path} cannot be written: it is a folder.",
            kept="Nothing was changed.",
            advice="Name a file.",
        )
    if is_there(path) and not replace:
        raise TakenError(
            f"{path} already exists.",
            kept="It was not changed.",
            advice=name_another_file,
        )
    if is_rehearsal():
        return
    with file_errors(
        RefusedError,
        f"{path} cannot be written",
        kept="Nothing was changed.",
        advice="Name another file or folder.",
    ):
        write_whole(path, content)


def folder_errors(
    folder: Path,
    done: str,
    *,
    kind: type[HostlinkError] = RefusedError,
    kept: str = "Nothing was written.",
) -> AbstractContextManager[None]:
    """Raise an error of `kind` if the block cannot use a folder. done: "read", or "made"."""
    what = f"The folder {folder} cannot be {done}"
    return file_errors(kind, what, kept=kept, advice="Name another folder.")


def read_bytes(path: Path, most: int = LIMIT) -> bytes:
    """Return the bytes of a file, at most `most` + 1, so that a larger file is noticed.

    Raises ListingError if it cannot be read.
    """
    with file_errors(
        ListingError,
        f"The file {path} cannot be read",
        kept="Nothing was changed.",
        advice=CHECK_FILE,
    ):
        return read_at_most(path, most + 1)
