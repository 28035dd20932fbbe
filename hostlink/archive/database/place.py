"""Where the archive is when nobody says."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

VARIABLE = "HOSTLINK_ARCHIVE"
FILE_NAME = "archive.sqlite3"
PRACTICE_NAME = "practice.sqlite3"


def archive_path(environ: Mapping[str, str] | None = None, *, practice: bool = False) -> Path:
    """The archive's file: HOSTLINK_ARCHIVE where set, else one in the user's data folder.

    environ: the environment to read, the process's own by default. practice: the archive of
    practice boards, so that what is only tried leaves nothing in the user's own. Nothing is made or
    opened.
    """
    named = (os.environ if environ is None else environ).get(VARIABLE, "").strip()
    if named:
        return Path(named).expanduser().absolute()
    import platformdirs  # not needed by whoever names the file

    return Path(platformdirs.user_data_dir("hostlink", appauthor=False)) / (
        PRACTICE_NAME if practice else FILE_NAME
    )
