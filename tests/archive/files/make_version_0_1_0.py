"""Writes what hostlink 0.1.0 left behind: an archive with one of everything, and its export.

Run once, with hostlink 0.1.0 (schema 1, bags of format 1); the files are never written again:
    python tests/archive/files/make_version_0_1_0.py
"""

from __future__ import annotations

import gzip
import io
import tempfile
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.backups import BackupItem
from hostlink.archive.exchange.bags import write_bag

HERE = Path(__file__).parent


class Clock:
    """A wall clock that moves on by one second each time it is asked."""

    def __init__(self) -> None:
        self.at = datetime(2031, 9, 3, 18, 30, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.at += timedelta(seconds=1)
        return self.at


def content(text: str) -> Content:
    """A listing as captured from a board."""
    raw = text.replace("\n", "\r\n").encode("latin-1")
    return Content(raw, text, text.upper(), "practice", "latin-1", len(text))


def fill(archive: Archive) -> None:
    """One evening of the class, with one of everything that an archive can hold."""
    red = archive.board_seen(vid=0x1A86, pid=0x7523, serial="S1", profile="practice")
    archive.board_label(red.uuid, "Red")
    origin = Origin("board", "/dev/ttyUSB0", red.uuid, captures=2)
    tide = '10 PRINT "EBB"\n20 GOSUB900\n900 RETURN\n'
    first = archive.keep("TIDE", content(tide), Origin("file", "tide.bas"), title="Tide clock")
    newest = archive.keep("TIDE", content(tide + "910 END\n"), origin).revision
    archive.keep("TIDE", content(tide.lower()), Origin("edit"), parent=first.revision)
    archive.keep("HAIL", content('10 PRINT "é"\n'), Origin("library", "HAIL"), title="Hailstone")
    archive.keep("DICE", content("10 REM SIX SIDES\n"), Origin("file", "dice.bas"))
    archive.note("TIDE", "Runs four minutes slow.")
    archive.note("TIDE@1", "As it was in the first class.")
    archive.tag("TIDE", "sea", "clock")
    archive.retire("DICE")
    archive.rescue(
        content("10 REM LOST\n"),
        Origin("rescue", "/dev/ttyUSB0", red.uuid, "before a load", 2, True),
        program="TIDE",
    )
    archive.set_host_copy(red.uuid, content(tide), proven=True, revision=newest)
    image = archive.keep_image(b"\x0c\x94" * 24, part="ATmega328P", name="one.hex")
    items = [
        BackupItem("memory", content("10 REM M\n"), 2),
        BackupItem("stored", content("10 REM S\n"), 2, "A1"),
    ]
    backup = archive.keep_backup(red.uuid, items, profile="practice", banner="READY", free_bytes=7)
    write = archive.begin_write(
        red.uuid, image, previous=image, role="computer", part="ATmega328P",
        backup_uuid=backup.uuid, boot_section=b"\xff" * 8, eeprom=b"\x01" * 8,
    )  # fmt: skip
    archive.end_write(write, "done", "READY")
    archive.set_board_role(red.uuid, "computer")
    with archive.event("load", board_uuid=red.uuid, program="TIDE") as record:
        record.revision = newest
        record.detail["bytes"] = 42
    archive.begin_event("survey", board_uuid=red.uuid)


def zipped(folder: Path) -> bytes:
    """A folder as a zip file, all dates the same."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as opened:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                info = zipfile.ZipInfo(path.relative_to(folder).as_posix())
                info.compress_type = zipfile.ZIP_DEFLATED
                opened.writestr(info, path.read_bytes())
    return out.getvalue()


def main() -> None:
    """Make both files."""
    now = Clock()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with (
            Archive.open(folder / "other.sqlite3", now=now) as other,
            Archive.open(folder / "archive.sqlite3", now=now) as archive,
        ):
            other.keep("MOON", content("10 REM FULL\n"), Origin("file", "moon.bas"))
            fill(archive)
            archive.merge(other.cargo())
            archive.duplicate(folder / "copy.sqlite3")
            write_bag(archive.cargo(), folder / "bag")
        copy = (folder / "copy.sqlite3").read_bytes()
        (HERE / "archive-0.1.0.sqlite3.gz").write_bytes(gzip.compress(copy, mtime=0))
        (HERE / "bag-0.1.0.zip").write_bytes(zipped(folder / "bag"))


if __name__ == "__main__":
    main()
