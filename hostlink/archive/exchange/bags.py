"""Write an archive as a BagIt folder (RFC 8493) that other programs can read.

The payload holds every listing as a text file (`programs/TIDE/TIDE-3.bas`, `rescues/rescue-2.bas`,
`backups/1/memory.bas`), firmware as raw bytes, and everything else as JSON with one record a line
(`records/revisions.jsonl`). Records are written one by one, so that an archive of any size takes
little memory. bag_reading.py reads it.
"""

from __future__ import annotations

import base64
import json
import re
import secrets
import shutil
from array import array
from datetime import datetime
from pathlib import Path

from hostlink import __version__
from hostlink.archive.database.flushing import flush_folder, flush_tree, make_folders
from hostlink.archive.database.tables import CARRIED
from hostlink.archive.exchange.bag_format import BagError, BagWriter, verify_bag
from hostlink.archive.exchange.record_source import Record, RecordSource
from hostlink.archive.names import file_name
from hostlink.errors import ArchiveError, system_words
from hostlink.sentences import ARCHIVE_UNCHANGED, FILE_UNTOUCHED
from hostlink.words import safe

FORMAT = 3
_PLAIN = re.compile(r"[^A-Za-z0-9._-]+")
_README = """This folder is an archive of BASIC programs, written by hostlink as a BagIt bag
(RFC 8493).

programs/NAME/   each revision of each program as a plain text file, NAME-NUMBER.bas
rescues/         what boards held just before it was overwritten
backups/         what boards held when they were backed up
firmware/        firmware images, raw bytes from address 0
records/         everything else: names, notes, tags, dates, boards, runs, events; one file per
                 kind, one JSON object per line. `listing` in a record is the number of a line in
                 listings.jsonl.
listings.jsonl   for each listing its file, its character set, and its SHA-256

A file ending in .raw holds the exact bytes of a listing where the .bas beside it differs from them.
"""


def write_bag(records: RecordSource, target: Path) -> dict[str, int]:
    """Write records to a new bag and return the number of records of each kind.

    The folder gets its name only when it is complete, verified and on the disk. Raises
    ArchiveError, and leaves no folder then.
    """
    target = Path(target).absolute()
    if target.exists():
        raise ArchiveError(
            f"{target} already exists.", kept=FILE_UNTOUCHED, advice="Name a new folder."
        )
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        make_folders(target.parent)
        part.mkdir()
        counts = _fill(records, part, datetime.now())
        flush_tree(part)
        verify_bag(part)
        part.rename(target)
        flush_folder(target.parent)
    except (OSError, BagError, ValueError) as error:
        why = system_words(error) if isinstance(error, OSError) else str(error)
        raise ArchiveError(
            f"The bag {target} was not made: {safe(why)}.", kept=ARCHIVE_UNCHANGED
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return counts


def _fill(records: RecordSource, folder: Path, now: datetime) -> dict[str, int]:
    bag = BagWriter(folder)
    try:
        counts = _Payload(records, bag).write()
        about = {"format": FORMAT, "made_by": f"hostlink {__version__}"}
        bag.add("archive.json", _line(about))
        bag.add("README.txt", _README.encode())
    except BaseException:
        bag.abandon()
        raise
    bag.close(
        {
            "Bag-Software-Agent": f"hostlink {__version__}",
            "Bagging-Date": f"{now:%Y-%m-%d}",
            "External-Description": "An archive of BASIC programs",
        }
    )
    return counts


def _line(record: object) -> bytes:
    return json.dumps(record, ensure_ascii=False, sort_keys=True).encode() + b"\n"


class _Payload:
    """Writes the payload; each listing goes to a file named after its first use."""

    def __init__(self, records: RecordSource, bag: BagWriter) -> None:
        self._records = records
        self._bag = bag
        self._numbers = array("q")  # number of a listing in the records to its number here
        self._count = 0
        self._folders: dict[str, str] = {}  # a program's UUID to its folder
        self._taken: set[str] = set()
        self._backups: dict[str, int] = {}

    def write(self) -> dict[str, int]:
        """Write everything; return the number of records of each kind."""
        counts = {}
        with self._bag.open("listings.jsonl") as listings:
            self._put_listing = listings
            for table in CARRIED:
                with self._bag.open(f"records/{table.name}.jsonl") as put:
                    count = 0
                    for record in self._records.of(table.name):
                        put(_line(self._written(table.name, record)))
                        count += 1
                counts[table.name] = count
        return counts

    def _written(self, table: str, record: Record) -> Record:
        """Return a record for JSON, after writing its listing and bytes to files."""
        if table == "programs":
            self._folders[record["uuid"]] = self._folder(record["name"])
        if table == "backups":
            self._backups[record["uuid"]] = record["number"]
        plain: Record = {}
        for key, value in record.items():
            if key == "listing":
                plain[key] = self._listing(table, record, value)
            elif key == "data":
                plain[key] = {"file": self._new_file(f"firmware/{record['uuid']}", ".bin", value)}
            elif isinstance(value, bytes):
                plain[key] = {"base64": base64.b64encode(value).decode()}
            else:
                plain[key] = value
        return plain

    def _folder(self, name: str) -> str:
        """Return a folder for a program that differs in more than case from the others."""
        plain, turn = file_name(_PLAIN.sub("_", name)), 1
        folder = plain
        while folder.lower() in self._taken:
            turn += 1
            folder = f"{plain}~{turn}"
        self._taken.add(folder.lower())
        return folder

    def _listing(self, table: str, record: Record, number: int) -> int:
        """Return the number of a listing in the bag; write its file if it is new."""
        if number >= len(self._numbers):
            self._numbers.extend([0] * (2 * number + 64 - len(self._numbers)))
        if not self._numbers[number]:
            content = self._records.listing(number)
            text = content.text.encode()
            file = self._new_file(self._stem(table, record), ".bas", text)
            if content.raw != text:
                self._bag.add(f"{file.removesuffix('.bas')}.raw", content.raw)
            self._put_listing(
                _line(
                    {
                        "file": file, "has_raw": content.raw != text,
                        "charset": content.charset, "profile": content.profile,
                        "sha256": content.sha256, "canonical_sha256": content.canonical_sha256,
                        "canonical": None if content.canonical == content.text
                        else content.canonical,
                    }
                )
            )  # fmt: skip
            self._count += 1
            self._numbers[number] = self._count
        return self._numbers[number]

    def _stem(self, table: str, record: Record) -> str:
        if table == "revisions":
            folder = self._folders[record["program"]]
            return f"programs/{folder}/{folder.partition('~')[0]}-{record['number']}"
        if table == "rescues":
            return f"rescues/rescue-{record['number']}"
        what = file_name(_PLAIN.sub("_", f"{record['kind']} {record['slot']}".strip()))
        return f"backups/{self._backups[record['backup']]}/{what}"

    def _new_file(self, stem: str, ending: str, data: bytes) -> str:
        """Write a file under an unused name and return the name."""
        turn = 1
        while True:
            path = f"{stem}{ending}" if turn == 1 else f"{stem}~{turn}{ending}"
            try:
                self._bag.add(path, data)
            except FileExistsError:
                turn += 1
            else:
                return path
