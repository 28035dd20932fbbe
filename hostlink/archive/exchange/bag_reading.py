"""Read the records of a BagIt folder (RFC 8493) that bags.py wrote, proven and with bounded work.

Records are read one by one, so that an archive of any size takes little memory.
"""

from __future__ import annotations

import base64
import json
from array import array
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from hostlink.archive.database.tables import TABLES
from hostlink.archive.exchange.arriving import NOTHING_TAKEN_IN
from hostlink.archive.exchange.bag_format import BagError, verify_bag
from hostlink.archive.exchange.bags import FORMAT
from hostlink.archive.exchange.record_source import Record, RecordSource
from hostlink.archive.listings import LARGEST_LISTING
from hostlink.archive.names import clean
from hostlink.archive.records import Content
from hostlink.errors import ArchiveError, system_words
from hostlink.sentences import BY_NEWER_HOSTLINK, FAR_TOO_LONG
from hostlink.words import safe

LONGEST_LINE = 8 << 20  # bytes of a record
LARGEST_BLOB = 1 << 24
# The one JSON document of format 1 is read at once, so it must be small: 0.1.0 made one of this
# size for some 30,000 revisions. Each mark of its structure may become an object in memory.
LARGEST_DOCUMENT, MOST_MARKS = 32 << 20, 4_000_000


@contextmanager
def open_bag(folder: Path) -> Iterator[RecordSource]:
    """Open the records of a bag, after verifying all its files.

    Links, paths out of the folder and files to fetch are refused. Raises ArchiveError with the
    reason, also later if a record turns out to be invalid.
    """
    folder = Path(folder)
    try:
        verify_bag(folder)
        about = _about(folder / "data")
        number = about["format"]
        records = _BagOfFormat1(folder, about) if number == 1 else _Bag(folder / "data", number)
        yield records
    except BagError as error:
        raise refused_bag(str(error)) from error
    except OSError as error:
        raise refused_bag(system_words(error)) from error


_BAD_ABOUT = "its archive.json does not have the right form"
_NO_SUCH_FILE = "a record names a file that the bag lacks"
_NO_SUCH_LISTING = "a record names a listing that the bag lacks"


class _Files:
    """The payload files of a verified bag, as listed in its manifests."""

    def __init__(self, data: Path) -> None:
        self._data = data

    def read(self, name: object, most: int) -> bytes:
        """Return the bytes of a payload file, and of no other file."""
        if not isinstance(name, str) or not _is_inside(name):
            raise BagError(_NO_SUCH_FILE)
        path = self._data / name
        if not path.is_file():
            raise BagError(_NO_SUCH_FILE)
        with path.open("rb") as file:
            data = file.read(most + 1)
        if len(data) > most:
            raise BagError(f"{name[:80]} is far too large")
        return data

    def content(self, entry: object) -> Content:
        """Return a listing by its entry, proven by its hashes."""
        texts = ("file", "charset", "profile", "sha256")
        if (
            not isinstance(entry, dict)
            or not all(isinstance(entry.get(key), str) for key in texts)
            or any(clean(entry[key]) != entry[key] for key in texts)
            or not isinstance(entry.get("has_raw"), bool)
            or not isinstance(entry.get("canonical", 0), str | None)
        ):
            raise BagError("an entry for a listing does not have the right form")
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
        said = entry.get("canonical_sha256", content.canonical_sha256)
        if (content.sha256, content.canonical_sha256) != (entry["sha256"], said):
            raise BagError(f"{entry['file'][:80]} is not the listing that its entry describes")
        return content

    def bytes_back(self, table: str, record: object) -> Record:
        """Return a record with its bytes decoded from JSON."""
        if not isinstance(record, dict):
            raise BagError(f"a record of {table} does not have the right form")
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
    """The records of a bag of format 2 or 3, read line by line; format 2 has no runs."""

    def __init__(self, data: Path, number: int) -> None:
        super().__init__(data)
        self._lacks = ("runs",) if number == 2 else ()
        self.left_out: list[str] = []
        self._begins = array("q")
        for at, _ in _lines(data / "listings.jsonl"):
            self._begins.append(at)

    def of(self, table: str) -> Iterator[Record]:
        """Yield the records of a table, as they stand in the bag."""
        if table in self._lacks:
            return
        path = self._data / "records" / f"{table}.jsonl"
        for _, line in _lines(path):
            yield self.bytes_back(table, _parsed(line, path.name))

    def listing(self, number: int) -> Content:
        """Return the listing on a line of listings.jsonl. number: of the line, from 1."""
        if not 0 < number <= len(self._begins):
            raise BagError(_NO_SUCH_LISTING)
        with (self._data / "listings.jsonl").open("rb") as file:
            file.seek(self._begins[number - 1])
            return self.content(_parsed(file.readline(LONGEST_LINE), "listings.jsonl"))


class _BagOfFormat1(_Files):
    """The records of a bag from hostlink 0.1.0, one JSON document."""

    def __init__(self, folder: Path, document: dict[str, Any]) -> None:
        super().__init__(folder / "data")
        self.left_out: list[str] = []
        entries, records = document.get("listings"), document.get("records")
        if not (
            isinstance(entries, list)
            and isinstance(records, dict)
            and all(isinstance(each, list) for each in records.values())
        ):
            raise BagError(_BAD_ABOUT)
        self._entries: list[Any] = entries
        self._records: dict[str, list[Any]] = records
        self._numbers = {
            entry["key"]: number
            for number, entry in enumerate(entries, 1)
            if isinstance(entry, dict) and isinstance(entry.get("key"), str)
        }

    def of(self, table: str) -> Iterator[Record]:
        """Yield the records of a table in the current form."""
        for held in self._records.get(table, []):
            record = self.bytes_back(table, held)
            if table == "tags":
                record.pop("tag_key", None)
            if any(column.name == "unproven" for column in TABLES[table].columns):
                record.setdefault("unproven", "")
            if "listing" in record:
                key = record["listing"]
                if not isinstance(key, str) or key not in self._numbers:
                    raise BagError(_NO_SUCH_LISTING)
                record["listing"] = self._numbers[key]
            yield record

    def listing(self, number: int) -> Content:
        """Return the listing with a number, from 1."""
        return self.content(self._entries[number - 1])


def _is_inside(name: str) -> bool:
    """Return whether a path with slashes stays below its folder."""
    parts = name.split("/")
    return not any(part in ("", ".", "..") for part in parts) and not set(name) & set("\\:\0")


def _lines(path: Path) -> Iterator[tuple[int, bytes]]:
    """Yield the offset of each line of a file, and the line."""
    with path.open("rb") as file:
        at = 0
        while line := file.readline(LONGEST_LINE + 1):
            if len(line) > LONGEST_LINE:
                raise BagError(f"{path.name} {FAR_TOO_LONG}")
            yield at, line
            at += len(line)


def _parsed(line: bytes, name: str) -> Any:
    try:
        return json.loads(line)
    except (ValueError, RecursionError) as error:
        raise BagError(f"{name} has a row that is not JSON") from error


def _about(data: Path) -> dict[str, Any]:
    """Return the document that names the format of the bag; in format 1 it holds all records."""
    path = data / "archive.json"
    if not path.is_file():
        raise BagError("it is not a hostlink bag: it has no archive.json")
    with path.open("rb") as file:
        text = file.read(LARGEST_DOCUMENT + 1)
    if len(text) > LARGEST_DOCUMENT or sum(map(text.count, b"[{,:")) > MOST_MARKS:
        raise refused_bag(
            "its archive.json is too large to be read at once",
            "Export the archive again with this version, or import the archive's file itself.",
        )
    about = _parsed(text, "archive.json")
    if not isinstance(about, dict) or type(about.get("format")) is not int:
        raise BagError(_BAD_ABOUT)
    if not 1 <= about["format"] <= FORMAT:
        raise refused_bag(f"it {BY_NEWER_HOSTLINK}", "Install the newer one.")
    return about


def refused_bag(
    reason: str, advice: str = "Copy or export it again, then import that."
) -> ArchiveError:
    """Return the error for a bag; control characters in what it quotes are made safe."""
    return ArchiveError(
        f"The bag was refused: {safe(reason)}.",
        kept=NOTHING_TAKEN_IN,
        advice=advice,
    )
