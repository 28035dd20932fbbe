"""Writes schema-N.sqlite3.gz: what make_version_0_1_0.py keeps, in an archive of schema N.

Run once, with the last version that made schema N; the file is never written again:
    python tests/archive/files/make_later_schema.py
"""

from __future__ import annotations

import gzip
import tempfile
from pathlib import Path

from make_version_0_1_0 import HERE, Clock, content, fill

from hostlink.archive import Archive, Origin
from hostlink.archive.database.migrations import STEPS


def main() -> None:
    """Make the file."""
    now = Clock()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with (
            Archive.open(folder / "other.sqlite3", now=now) as other,
            Archive.open(folder / "archive.sqlite3", now=now) as archive,
        ):
            other.keep("MOON", content("10 REM FULL\n"), Origin("file", "moon.bas"))
            fill(archive)
            archive.merge_file(other.path)
            archive.duplicate(folder / "copy.sqlite3")
        copy = (folder / "copy.sqlite3").read_bytes()
        (HERE / f"schema-{STEPS.latest}.sqlite3.gz").write_bytes(gzip.compress(copy, mtime=0))


if __name__ == "__main__":
    main()
