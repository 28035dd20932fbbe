"""An archive as a BagIt folder (RFC 8493), so that it outlives this program.

The payload holds every listing as a plain text file, where a person looks for it
(`programs/TIDE/TIDE-3.bas`, `rescues/rescue-2.bas`, `backups/1/memory.bas`), firmware as raw bytes,
and everything else as JSON, a record a line (`records/revisions.jsonl`). Both ways go record by
record, so that an archive of any size takes little memory.
"""

from __future__ import annotations

import base64
import json
import re
import secrets
import shutil
from array import array
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from hostlink import __version__
from hostlink.archive.bag_format import BagError, BagWriter, verify
from hostlink.archive.carried import Cargo, Record
from hostlink.archive.flushing import flush_folder, flush_tree, make_folders
from hostlink.archive.listings import LARGEST_LISTING
from hostlink.archive.names import clean, file_name
from hostlink.archive.records import Content
from hostlink.archive.tables import CARRIED, TABLES
from hostlink.errors import ArchiveError
from hostlink.words import safe

FORMAT = 2
LONGEST_LINE = 8 << 20  # bytes of a record
LARGEST_BLOB = 1 << 24
# The one JSON document of format 1 is read at once, so it must be small: 0.1.0 made one of this
# size for some 30,000 revisions. Each mark of its structure may become an object in memory.
LARGEST_DOCUMENT, MOST_MARKS = 32 << 20, 4_000_000
_PLAIN = re.compile(r"[^A-Za-z0-9._-]+")
_README = """This folder is an archive of BASIC programs, written by hostlink as a BagIt bag
(RFC 8493).

programs/NAME/   each revision of each program as a plain text file, NAME-NUMBER.bas
rescues/         what boards held just before it was overwritten
backups/         what boards held when they were backed up
firmware/        firmware images, raw bytes from address 0
records/         everything else: names, notes, tags, dates, boards, events; a file a kind, a JSON
                 object a line. `listing` in a record is the number of a line in listings.jsonl.
listings.jsonl   for each listing which file it is, its character set, and its SHA-256

A file ending in .raw holds the exact bytes of the .bas beside it where these differ from it.
"""


# --- writing -------------------------------------------------------------------------------------


def write_bag(cargo: Cargo, target: Path, *, now: datetime | None = None) -> dict[str, int]:
    """Write cargo to a new bag. The folder appears under its name only when it is complete.

    All of it is verified, and on the disk, when this returns. now: the day it is said to be of.
    Returns how many records of each kind are in it. Raises ArchiveError: then there is no such
    folder.
    """
    target = Path(target).absolute()
    if target.exists():
        raise ArchiveError(
            f"{target} is there already.", kept="It was not touched.", advice="Name a new folder."
        )
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        make_folders(target.parent)
        part.mkdir()
        counts = _fill(cargo, part, now or datetime.now())
        flush_tree(part)
        verify(part)
        part.rename(target)
        flush_folder(target.parent)
    except (OSError, BagError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ArchiveError(
            f"The bag {target} was not made: {safe(why)}.", kept="The archive is as it was."
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return counts


def _fill(cargo: Cargo, folder: Path, now: datetime) -> dict[str, int]:
    bag = BagWriter(folder)
    try:
        counts = _Payload(cargo, bag).write()
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
    """Writes the payload; each listing goes to a file named after the first thing that holds it."""

    def __init__(self, cargo: Cargo, bag: BagWriter) -> None:
        self._cargo = cargo
        self._bag = bag
        self._numbers = array("q")  # number of a listing in the cargo to its number here
        self._count = 0
        self._folders: dict[str, str] = {}  # a program's UUID to its folder
        self._taken: set[str] = set()
        self._backups: dict[str, int] = {}

    def write(self) -> dict[str, int]:
        """Write everything; returns how many records of each kind there are."""
        counts = {}
        with self._bag.open("listings.jsonl") as listings:
            self._put_listing = listings
            for table in CARRIED:
                with self._bag.open(f"records/{table.name}.jsonl") as put:
                    count = 0
                    for record in self._cargo.records(table.name):
                        put(_line(self._written(table.name, record)))
                        count += 1
                counts[table.name] = count
        return counts

    def _written(self, table: str, record: Record) -> Record:
        """A record fit for JSON, its listing and its bytes in files of their own."""
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
        """A folder for a program; some file systems do not tell case apart."""
        plain, turn = file_name(_PLAIN.sub("_", name)), 1
        folder = plain
        while folder.lower() in self._taken:
            turn += 1
            folder = f"{plain}~{turn}"
        self._taken.add(folder.lower())
        return folder

    def _listing(self, table: str, record: Record, number: int) -> int:
        """The number of a listing here; its file is written where it is new."""
        if number >= len(self._numbers):
            self._numbers.extend([0] * (2 * number + 64 - len(self._numbers)))
        if not self._numbers[number]:
            content = self._cargo.listing(number)
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
        """Write a file under a name that is not taken yet, and return that."""
        turn = 1
        while True:
            path = f"{stem}{ending}" if turn == 1 else f"{stem}~{turn}{ending}"
            try:
                self._bag.add(path, data)
            except FileExistsError:
                turn += 1
            else:
                return path


# --- reading -------------------------------------------------------------------------------------


@contextmanager
def open_bag(folder: Path) -> Iterator[Cargo]:
    """The cargo of a bag, if every file is there, unchanged and what it should be.

    Nothing is followed out of the folder: links, paths and files to fetch refuse the bag.
    Raises ArchiveError with the reason, also later, when a record turns out to be none.
    """
    folder = Path(folder)
    try:
        verify(folder)
        about = _about(folder / "data")
        cargo = _Bag(folder / "data") if about["format"] == FORMAT else _BagOfFormat1(folder, about)
        yield cargo
    except BagError as error:
        raise refused_bag(str(error)) from error
    except OSError as error:
        raise refused_bag(error.strerror or str(error)) from error


class _Files:
    """The payload of a verified bag: every file in it is one that the manifests list."""

    def __init__(self, data: Path) -> None:
        self._data = data

    def read(self, name: object, most: int) -> bytes:
        """The bytes of a payload file, and of no other file."""
        if not isinstance(name, str) or not _is_inside(name):
            raise BagError("a record names a file that is not in the bag")
        path = self._data / name
        if not path.is_file():
            raise BagError("a record names a file that is not in the bag")
        with path.open("rb") as file:
            data = file.read(most + 1)
        if len(data) > most:
            raise BagError(f"{name[:80]} is far too large")
        return data

    def content(self, entry: object) -> Content:
        """A listing by its entry, held to its hashes."""
        texts = ("file", "charset", "profile", "sha256")
        if (
            not isinstance(entry, dict)
            or not all(isinstance(entry.get(key), str) for key in texts)
            or any(clean(entry[key]) != entry[key] for key in texts)
            or not isinstance(entry.get("has_raw"), bool)
            or not isinstance(entry.get("canonical", 0), str | None)
        ):
            raise BagError("an entry for a listing is not of the form it should be")
        data = self.read(entry["file"], LARGEST_LISTING)
        raw = data
        if entry["has_raw"]:
            raw = self.read(f"{entry['file'].removesuffix('.bas')}.raw", LARGEST_LISTING)
        try:
            text = data.decode()
        except UnicodeDecodeError as error:
            raise BagError(f"{entry['file'][:80]} is not UTF-8") from error
        canonical = text if entry["canonical"] is None else entry["canonical"]
        content = Content(raw, text, canonical, entry["profile"], entry["charset"])
        if content.sha256 != entry["sha256"]:
            raise BagError(f"{entry['file'][:80]} is not the listing that it is said to be")
        if entry.get("canonical_sha256", content.canonical_sha256) != content.canonical_sha256:
            raise BagError(f"{entry['file'][:80]} is not the listing that it is said to be")
        return content

    def bytes_back(self, table: str, record: object) -> Record:
        """A record with its bytes in place of how JSON holds them."""
        if not isinstance(record, dict):
            raise BagError(f"a record of {table} is not of the form it should be")
        for column in TABLES[table].carried:
            held = record.get(column.name)
            if column.kind != "bytes" or not isinstance(held, dict):
                continue
            if set(held) == {"file"}:
                record[column.name] = self.read(held["file"], LARGEST_BLOB)
            elif set(held) == {"base64"} and isinstance(held["base64"], str):
                try:
                    record[column.name] = base64.b64decode(held["base64"], validate=True)
                except ValueError as error:
                    raise BagError(
                        f"{column.name} of a record of {table} cannot be read"
                    ) from error
        return record


class _Bag(_Files):
    """Cargo of a bag of this format, read line by line."""

    def __init__(self, data: Path) -> None:
        super().__init__(data)
        self.left_out: list[str] = []
        self._begins = array("q")
        for at, _ in _lines(data / "listings.jsonl"):
            self._begins.append(at)

    def records(self, table: str) -> Iterator[Record]:
        """The records of a table, as they stand in the bag."""
        path = self._data / "records" / f"{table}.jsonl"
        for _, line in _lines(path):
            yield self.bytes_back(table, _parsed(line, path.name))

    def listing(self, number: int) -> Content:
        """The listing of that line of listings.jsonl."""
        if not 0 < number <= len(self._begins):
            raise BagError("a record names a listing that is not in the bag")
        with (self._data / "listings.jsonl").open("rb") as file:
            file.seek(self._begins[number - 1])
            return self.content(_parsed(file.readline(LONGEST_LINE), "listings.jsonl"))


class _BagOfFormat1(_Files):
    """Cargo of a bag that hostlink 0.1.0 wrote: one JSON document."""

    def __init__(self, folder: Path, document: dict[str, Any]) -> None:
        super().__init__(folder / "data")
        self.left_out: list[str] = []
        entries, records = document.get("listings"), document.get("records")
        if not (
            isinstance(entries, list)
            and isinstance(records, dict)
            and all(isinstance(each, list) for each in records.values())
        ):
            raise BagError("its archive.json is not of the form it should be")
        self._entries: list[Any] = entries
        self._records: dict[str, list[Any]] = records
        self._numbers = {
            entry["key"]: number
            for number, entry in enumerate(entries, 1)
            if isinstance(entry, dict) and isinstance(entry.get("key"), str)
        }

    def records(self, table: str) -> Iterator[Record]:
        """The records of a table in today's form."""
        for held in self._records.get(table, []):
            record = self.bytes_back(table, held)
            if table == "tags":
                record.pop("tag_key", None)
            if any(column.name == "unproven" for column in TABLES[table].columns):
                record.setdefault("unproven", "")
            if "listing" in record:
                key = record["listing"]
                if not isinstance(key, str) or key not in self._numbers:
                    raise BagError("a record names a listing that is not in the bag")
                record["listing"] = self._numbers[key]
            yield record

    def listing(self, number: int) -> Content:
        """The listing of that entry."""
        return self.content(self._entries[number - 1])


def _is_inside(name: str) -> bool:
    """Whether a path with slashes leads to nothing but a file below its folder."""
    parts = name.split("/")
    return not any(part in ("", ".", "..") for part in parts) and not set(name) & set("\\:\0")


def _lines(path: Path) -> Iterator[tuple[int, bytes]]:
    """Where each line of a file begins, and the line."""
    with path.open("rb") as file:
        at = 0
        while line := file.readline(LONGEST_LINE + 1):
            if len(line) > LONGEST_LINE:
                raise BagError(f"{path.name} has a line that is far too long")
            yield at, line
            at += len(line)


def _parsed(line: bytes, name: str) -> Any:
    try:
        return json.loads(line)
    except (ValueError, RecursionError) as error:
        raise BagError(f"{name} has a line that is no JSON") from error


def _about(data: Path) -> dict[str, Any]:
    """The document that says of what format the bag is; of format 1 it holds all records."""
    path = data / "archive.json"
    if not path.is_file():
        raise BagError("it is no archive of hostlink: it has no archive.json")
    with path.open("rb") as file:
        text = file.read(LARGEST_DOCUMENT + 1)
    if len(text) > LARGEST_DOCUMENT or sum(map(text.count, b"[{,:")) > MOST_MARKS:
        raise refused_bag(
            "its archive.json is larger than can be read at once",
            "Export the archive once more with this version, or import the archive's file itself.",
        )
    about = _parsed(text, "archive.json")
    if not isinstance(about, dict) or type(about.get("format")) is not int:
        raise BagError("its archive.json is not of the form it should be")
    if not 1 <= about["format"] <= FORMAT:
        raise refused_bag("it was written by a newer hostlink", "Install the newer one.")
    return about


def refused_bag(
    reason: str, advice: str = "Copy or export it once more, and import that."
) -> ArchiveError:
    """The error for a bag; what is quoted of it may hold control characters."""
    return ArchiveError(
        f"The bag was refused: {safe(reason)}.",
        kept="Nothing of it was taken in; the archive is as it was.",
        advice=advice,
    )
