"""Locks on files between processes; the system releases them when a process ends."""

from __future__ import annotations

import sys
from typing import IO


def try_lock(file: IO[bytes]) -> bool:
    """Lock an open file for this process without waiting; return whether it was free.

    Closing the file releases the lock. Raises OSError if the file system has no locks.
    """
    try:
        if sys.platform == "win32":  # pragma: no cover - reviewed, not run: library reference
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True
