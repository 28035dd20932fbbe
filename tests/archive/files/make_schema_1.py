"""Writes schema-1.sqlite3.gz, the oldest archive file that every later version must open.

Run once, with the version that made schema 1; the file is never written again:
    python tests/archive/files/make_schema_1.py
"""

from __future__ import annotations

import gzip
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hostlink.archive import Archive, Content, Origin


def content(text: str) -> Content:
    """A listing as captured from a board."""
    raw = text.replace("\n", "\r\n").encode("latin-1")
    return Content(raw, text, text.upper(), "practice", "latin-1", len(text))


def fill(archive: Archive) -> None:
    """One evening of the class."""
    red = archive.board_seen(location="practice://red", profile="practice")
    archive.board_label(red.uuid, "Red")
    tide = '10 PRINT "EBB"\n20 GOSUB900\n900 RETURN\n'
    first = archive.keep("TIDE", content(tide), Origin("file", "tide.bas"), title="Tide clock")
    archive.keep("TIDE", content(tide + "910 END\n"), Origin("board", "Red", red.uuid, "", 2))
    lower = archive.keep(
        "TIDE",
        content(tide.replace("PRINT", "print")),
        Origin("edit", note="small letters"),
        parent=first.revision,
    )
    archive.note("TIDE", "Runs four minutes slow.")
    archive.note("TIDE@1", "As it was in the first class.")
    archive.tag("TIDE", "sea", "clock")
    archive.keep("DICE", content("10 REM SIX SIDES\n20 END\n"), Origin("library", "DICE"))
    archive.rescue(
        content("10 REM LOST\n"), Origin("rescue", "Red", red.uuid, captures=2, after_restart=True)
    )
    with archive.event("load", board_uuid=red.uuid, program="TIDE") as record:
        record.revision = lower.revision
        record.detail["bytes"] = 42
    archive.set_host_copy(
        red.uuid, archive.content(lower.revision), proven=True, revision=lower.revision
    )
    archive.retire("DICE")


def main() -> None:
    """Make the file."""
    at = datetime(2031, 9, 3, 18, 30, tzinfo=UTC)

    def now() -> datetime:
        nonlocal at
        at += timedelta(seconds=1)
        return at

    target = Path(__file__).with_name("schema-1.sqlite3.gz")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.sqlite3"
        with Archive.open(Path(folder) / "archive.sqlite3", now=now) as archive:
            fill(archive)
            archive.duplicate(copy)
        target.write_bytes(gzip.compress(copy.read_bytes(), mtime=0))


if __name__ == "__main__":
    main()
