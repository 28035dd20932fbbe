"""The default location of the archive."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

VARIABLE = "HOSTLINK_ARCHIVE"
FILE_NAME = "archive.sqlite3"
PRACTICE_NAME = "practice.sqlite3"


def archive_path(environ: Mapping[str, str] | None = None, *, practice: bool = False) -> Path:
    """Return the archive file: HOSTLINK_ARCHIVE if set, else one in the user's data folder.

    environ: by default that of the process. practice: the archive for practice boards, which keeps
    experiments out of the user's own. Nothing is made or opened.
    """
    named = (os.environ if environ is None else environ).get(VARIABLE, "").strip()
    if named:
        return Path(named).expanduser().absolute()
    import platformdirs  # not needed if the file is named

    return Path(platformdirs.user_data_dir("hostlink", appauthor=False)) / (
        PRACTICE_NAME if practice else FILE_NAME
    )
