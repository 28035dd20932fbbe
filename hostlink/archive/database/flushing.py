"""Make sure that files and their names are on the disk and survive a power cut."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def flush_folder(folder: Path) -> None:
    """Make new and changed names in a folder survive a power cut (POSIX only)."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def flush_file(path: Path) -> None:
    """Make a file's content survive a power cut."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def make_folders(folder: Path) -> None:
    """Make a folder and its missing parents, with their names on the disk."""
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    for each in reversed(missing):
        each.mkdir(exist_ok=True)
        flush_folder(each.parent)


def flush_tree(folder: Path) -> None:
    """Make all files below a folder survive a power cut. Raises OSError if the disk refuses."""
    if sys.platform == "linux" and _flush_file_system(folder):
        return
    for place, _, names in os.walk(folder):
        for name in names:
            flush_file(Path(place) / name)
        flush_folder(Path(place))


def _flush_file_system(folder: Path) -> bool:
    """Write out a whole file system at once; return False if the C library cannot.

    syncfs(2) waits, and reports errors since Linux 5.8. Flushing 100,000 files one by one takes
    minutes.
    """
    import ctypes

    call = getattr(ctypes.CDLL(None, use_errno=True), "syncfs", None)
    if call is None:
        return False
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        if call(descriptor) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number), str(folder))
    finally:
        os.close(descriptor)
    return True
