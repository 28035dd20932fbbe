"""The default location of the archive."""

from __future__ import annotations

import os
from pathlib import Path


def archive_path(*, practice: bool = False) -> Path:
    """Return the archive file: HOSTLINK_ARCHIVE if set, else one in the user's data folder.

    practice: the archive for practice boards, which keeps experiments out of the user's own.
    Nothing is made or opened.
    """
    named = os.environ.get("HOSTLINK_ARCHIVE", "").strip()
    if named:
        return Path(named).expanduser().absolute()
    import platformdirs  # not needed if the file is named

    name = "practice.sqlite3" if practice else "archive.sqlite3"
    return Path(platformdirs.user_data_dir("hostlink", appauthor=False)) / name
