"""Reading a file that a user named, without ever waiting for somebody to write it."""

from __future__ import annotations

import errno
import itertools
import os
from pathlib import Path

from hostlink.words import nearest

_OPEN_FILES = (Path("/dev/fd"), Path("/proc/self/fd"))
"""File descriptors opened by the shell for a command; these always have a writer."""
_MOST_ENTRIES = 1000


def read_at_most(path: Path, most: int) -> bytes:
    """Return the bytes of a file, at most `most` of them.

    Raises OSError if it cannot be read, and for a named pipe, which could block.
    """
    if path.is_fifo() and path.parent not in _OPEN_FILES:
        raise OSError(errno.EINVAL, "it is a named pipe, and reading it could take forever")
    with path.open("rb") as file:
        return file.read(most)


def near_files(path: Path) -> list[str]:
    """Return the names of files that resemble one that was not found, in the same folder."""
    try:
        with os.scandir(path.parent) as entries:
            some = itertools.islice(entries, _MOST_ENTRIES)
            return nearest(path.name, [entry.name for entry in some if entry.is_file()])
    except (OSError, ValueError):
        return []
