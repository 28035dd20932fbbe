"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file, or replace one, so that an end at any moment leaves the old content or the new.

    Raises OSError, or ValueError for a path that no file can have; nothing was changed then.
    """
    temporary = path.with_name(f".{path.name}.new")
    try:
        with temporary.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())  # else a loss of power could leave an empty file
        temporary.replace(path)
    except (OSError, ValueError):
        with contextlib.suppress(OSError, ValueError):
            temporary.unlink(missing_ok=True)
        raise
