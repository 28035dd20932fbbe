"""What passes from one archive to another: rows whose references are UUIDs instead of row ids.

One table of tables says what is carried. Host copies are not: they tell what the boards at this
computer hold now.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlite_utils import Database

from hostlink.archive.listings import proven_content
from hostlink.archive.records import Content
from hostlink.archive.session import first, rows
from hostlink.archive.trouble import from_row
from hostlink.errors import ArchiveError

Record = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Table:
    """A table that is carried. refs: column (ending in _id) to the table it refers to.

    blobs: columns with bytes. A row is known by its `uuid`, a tag by its program and tag_key.
    """

    name: str
    columns: tuple[str, ...]
    refs: dict[str, str] = field(default_factory=dict)
    blobs: tuple[str, ...] = ()
    has_uuid: bool = True


_KEPT = ("number", "size_bytes", "origin", "origin_where", "note", "captures", "after_restart")

# In an order in which references point backwards; a revision's parent may come later, see merging.
TABLES = (
    Table("archives", ("made_at", "made_by")),
    Table(
        "boards",
        (
            "label", "usb_vid", "usb_pid", "usb_serial", "location", "profile",
            "restarts_on_open", "first_seen", "last_seen", "role",
        ),
    ),
    Table("programs", ("name", "title", "made_at", "retired_at")),
    Table(
        "revisions",
        (*_KEPT, "kept_at"),
        {
            "program_id": "programs", "archive_id": "archives", "parent_id": "revisions",
            "listing_id": "listings", "board_id": "boards",
        },
    ),
    Table(
        "rescues",
        (*_KEPT, "kept_at"),
        {
            "archive_id": "archives", "board_id": "boards", "program_id": "programs",
            "listing_id": "listings",
        },
    ),
    Table("notes", ("text", "noted_at"), {"program_id": "programs", "revision_id": "revisions"}),
    Table("tags", ("tag", "tag_key"), {"program_id": "programs"}, has_uuid=False),
    Table("firmware_images", ("part", "name", "kept_at"), blobs=("sha256", "data")),
    Table(
        "backups",
        (
            "number", "profile", "origin_where", "banner", "free_bytes", "after_restart", "note",
            "made_at",
        ),
        {
            "archive_id": "archives", "board_id": "boards",
            "firmware_image_id": "firmware_images",
        },
    ),
    Table(
        "backup_items",
        ("kind", "slot", "size_bytes", "captures"),
        {"backup_id": "backups", "listing_id": "listings"},
    ),
    Table(
        "firmware_writes",
        ("role", "part", "began_at", "ended_at", "outcome", "banner"),
        {
            "board_id": "boards", "firmware_image_id": "firmware_images",
            "previous_image_id": "firmware_images", "backup_id": "backups",
        },
        blobs=("boot_section", "eeprom"),
    ),
    Table(
        "events",
        ("job", "started_at", "ended_at", "outcome", "detail"),
        {
            "board_id": "boards", "program_id": "programs", "revision_id": "revisions",
            "rescue_id": "rescues",
        },
    ),
)  # fmt: skip
BY_NAME = {table.name: table for table in TABLES}


@dataclass
class Cargo:
    """What is carried: records by table, and listings by their key."""

    records: dict[str, list[Record]]
    listings: dict[str, Content]


def listing_key(content: Content) -> str:
    """A listing's name between archives: a hash over everything that makes it."""
    parts = [content.sha256, content.canonical_sha256, content.profile, content.charset]
    return hashlib.sha256(json.dumps([*parts, content.text]).encode()).hexdigest()


def gather(db: Database, *, programs: Collection[int] | None = None, since: str = "") -> Cargo:
    """Read what is to be carried: everything, or some programs, or what is newer than `since`.

    programs: row ids; then only they go, with their revisions, notes and tags. since: a stored
    time; older revisions, rescues, notes, backups, writes and events stay out.
    """
    cargo = Cargo({}, {})
    keys = _Keys(db, cargo)
    for table in TABLES:
        where = _where(table, programs, since)
        if where is None:
            cargo.records[table.name] = []
            continue
        condition, values = where
        sql = f"SELECT * FROM {table.name} WHERE {condition} ORDER BY id"
        cargo.records[table.name] = [keys.carried(table, row) for row in rows(db, sql, values)]
    _drop_strangers(cargo)
    return cargo


_TIMES = {
    "revisions": "kept_at", "rescues": "kept_at", "notes": "noted_at", "backups": "made_at",
    "firmware_writes": "began_at", "events": "started_at",
}  # fmt: skip
_OF_PROGRAM = {"programs": "id", "revisions": "program_id", "notes": "program_id",
               "tags": "program_id"}  # fmt: skip


def _where(
    table: Table, programs: Collection[int] | None, since: str
) -> tuple[str, list[object]] | None:
    """The condition for a table's rows; None where none of them go."""
    parts, values = ["1"], list[object]()
    if programs is not None and table.name not in ("archives", "boards"):
        if table.name not in _OF_PROGRAM:
            return None
        column = _OF_PROGRAM[table.name]
        parts.append(f"{column} IN (SELECT value FROM json_each(?))")
        values.append(json.dumps(list(programs)))
    if since and table.name in _TIMES:
        parts.append(f"{_TIMES[table.name]} >= ?")
        values.append(since)
    if since and table.name == "backup_items":
        parts.append("backup_id IN (SELECT id FROM backups WHERE made_at >= ?)")
        values.append(since)
    return " AND ".join(parts), values


class _Keys:
    """Turns row ids into what is the same in every archive."""

    def __init__(self, db: Database, cargo: Cargo) -> None:
        self._db = db
        self._cargo = cargo
        self._uuids: dict[str, dict[int, str]] = {}
        self._listings: dict[int, str] = {}

    @from_row("Something that is to be exported")
    def carried(self, table: Table, row: Any) -> Record:
        record: Record = {"uuid": row["uuid"]} if table.has_uuid else {}
        record.update({column: row[column] for column in table.columns})
        for column in table.blobs:
            record[column] = None if row[column] is None else bytes(row[column])
        for column, target in table.refs.items():
            record[column.removesuffix("_id")] = self._key(target, row[column])
        return record

    def _key(self, table: str, row_id: int | None) -> str | None:
        if row_id is None:
            return None
        if table == "listings":
            return self._listing(row_id)
        if table not in self._uuids:
            found = self._db.execute(f"SELECT id, uuid FROM {table}")
            self._uuids[table] = dict(found.fetchall())
        if row_id not in self._uuids[table]:
            raise _dangling(table)
        return self._uuids[table][row_id]

    def _listing(self, row_id: int) -> str:
        if row_id not in self._listings:
            row = first(
                self._db, "SELECT *, NULL AS size_bytes FROM listings WHERE id = ?", (row_id,)
            )
            if row is None:
                raise _dangling("listings")
            content = proven_content(row, f"Listing {row_id}")
            key = listing_key(content)
            self._cargo.listings[key] = content
            self._listings[row_id] = key
        return self._listings[row_id]


def _dangling(table: str) -> ArchiveError:
    return ArchiveError(
        f"The archive is damaged: something refers to a row of {table} that is not there.",
        kept="Nothing was written.",
        advice="`hostlink archive prove` says what; `--only` exports programs that are whole.",
    )


def _drop_strangers(cargo: Cargo) -> None:
    """Leave out archives and boards that nothing carried refers to."""
    for name, column in (("archives", "archive"), ("boards", "board")):
        used = {record.get(column) for record in each_record(cargo)}
        cargo.records[name] = [each for each in cargo.records[name] if each["uuid"] in used]


def each_record(cargo: Cargo) -> Iterator[Record]:
    """Every record, table by table."""
    for table in TABLES:
        yield from cargo.records[table.name]
