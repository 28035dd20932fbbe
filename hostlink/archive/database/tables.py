"""Describe the tables of the archive, column by column.

Checksums, export and import, the check of foreign records and `Archive.prove` all use this
description.
"""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from hostlink.archive.names import clean
from hostlink.archive.times import is_utc_text

Kind = Literal["text", "number", "flag", "time", "bytes", "uuid", "json"]
_LARGEST = 1 << 62


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    optional: may be NULL. refers: the table whose id it holds, or "". hashed: proven by a SHA-256
    of its own and not by the checksum of the row. folds: the column whose folded form it holds, or
    "". own: valid in this archive only.
    """

    name: str
    kind: Kind = "text"
    optional: bool = False
    refers: str = ""
    hashed: bool = False
    folds: str = ""
    own: bool = False

    def fits(self, value: object) -> bool:
        """Return whether a value is of the column's kind, a test that few damaged values pass."""
        if value is None:
            return self.optional
        match self.kind:
            case "bytes":
                return isinstance(value, bytes)
            case "number":
                return type(value) is int and abs(value) < _LARGEST
            case "flag":
                return value in (0, 1) and type(value) is int
        if not isinstance(value, str) or clean(value) != value:
            return False
        match self.kind:
            case "time":
                return is_utc_text(value)
            case "uuid":
                return _is_uuid(value)
            case "json":
                return _is_json(value)
        return True


@dataclass(frozen=True)
class Table:
    """One table.

    columns: all but its key and checksum. key: the column with the row id. changing: the columns
    that may change later, in a table that is never deleted from.
    """

    name: str
    columns: tuple[Column, ...]
    key: str = "id"
    changing: tuple[str, ...] = ()

    @cached_property
    def summed(self) -> tuple[str, ...]:
        """Return the columns under the checksum, in order."""
        return (self.key, *(column.name for column in self.columns if not column.hashed))

    @cached_property
    def hashed(self) -> tuple[str, ...]:
        """Return the columns with a SHA-256 of their own."""
        return tuple(column.name for column in self.columns if column.hashed)

    @cached_property
    def names(self) -> str:
        """Return all columns that `is_whole` needs, for a SELECT."""
        return ", ".join((*self.summed, "checksum", *self.hashed))

    @cached_property
    def fixed(self) -> tuple[str, ...]:
        """Return the columns that never change."""
        return tuple(column.name for column in self.columns if column.name not in self.changing)

    @property
    def has_uuid(self) -> bool:
        """Return whether its rows have a UUID."""
        return self.columns[0].name == "uuid"

    @cached_property
    def carried(self) -> tuple[Column, ...]:
        """Return the columns that are exported."""
        return tuple(column for column in self.columns if not (column.own or column.folds))


def _is_uuid(text: str) -> bool:
    try:
        return str(uuid.UUID(text)) == text
    except ValueError:
        return False


def _is_json(text: str) -> bool:
    try:
        return isinstance(json.loads(text), dict)
    except (ValueError, RecursionError):
        return False


def _text(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name) for name in names)


def _numbers(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "number") for name in names)


def _to(name: str, table: str, *, optional: bool = False) -> Column:
    return Column(name, "number", optional, refers=table)


_UUID = Column("uuid", "uuid")
_SIZE = Column("size_bytes", "number", optional=True)
_BOARD = _to("board_id", "boards", optional=True)
_ORIGIN = _text("origin", "origin_where")
_KEPT = (
    *_text("note"), *_numbers("captures"), Column("after_restart", "flag"),
    Column("kept_at", "time"), *_text("unproven"),
)  # fmt: skip

_TABLES = (
    # In an order in which references point backwards.
    Table("archives", (_UUID, Column("made_at", "time"), *_text("made_by"))),
    Table(
        "boards",
        (
            _UUID, *_text("label"), Column("label_key", optional=True, folds="label"),
            Column("usb_vid", "number", optional=True), Column("usb_pid", "number", optional=True),
            *_text("usb_serial", "location", "profile"),
            Column("restarts_on_open", "flag", optional=True),
            Column("first_seen", "time"), Column("last_seen", "time"), *_text("role"),
        ),
        changing=(
            "label", "label_key", "location", "profile", "restarts_on_open", "last_seen", "role",
        ),
    ),
    Table(
        "listings",
        (
            Column("sha256", "bytes"), Column("canonical_sha256", "bytes"),
            *_text("profile", "charset"), Column("text", hashed=True),
            Column("raw", "bytes", optional=True, hashed=True),
            Column("canonical", "bytes", optional=True, hashed=True),
            *_text("spaced_words"), *_numbers("line_count"),
        ),
    ),
    Table(
        "programs",
        (
            _UUID, *_text("name"), Column("name_key", folds="name"), *_text("title"),
            Column("made_at", "time"), Column("retired_at", "time", optional=True),
            Column("latest_id", "number", optional=True, own=True),
            Column("revision_count", "number", own=True),
        ),
        changing=("title", "retired_at", "latest_id", "revision_count"),
    ),
    Table(
        "revisions",
        (
            _UUID, _to("program_id", "programs"), _to("archive_id", "archives"),
            *_numbers("number"), _to("parent_id", "revisions", optional=True),
            _to("listing_id", "listings"), _SIZE, *_ORIGIN, _BOARD, *_KEPT,
        ),
    ),
    Table(
        "rescues",
        (
            _UUID, _to("archive_id", "archives"), *_numbers("number"), _BOARD,
            _to("program_id", "programs", optional=True), _to("listing_id", "listings"), _SIZE,
            *_ORIGIN, *_KEPT,
        ),
    ),
    Table(
        "notes",
        (
            _UUID, _to("program_id", "programs"), _to("revision_id", "revisions", optional=True),
            *_text("text"), Column("noted_at", "time"),
        ),
    ),
    Table("tags", (_to("program_id", "programs"), *_text("tag"), Column("tag_key", folds="tag"))),
    Table(
        "firmware_images",
        (
            _UUID, Column("sha256", "bytes"), Column("data", "bytes", hashed=True),
            *_text("part", "name"), Column("kept_at", "time"),
        ),
    ),
    Table(
        "backups",
        (
            _UUID, _to("archive_id", "archives"), *_numbers("number"), _to("board_id", "boards"),
            _to("firmware_image_id", "firmware_images", optional=True),
            *_text("profile", "origin_where", "banner"),
            Column("free_bytes", "number", optional=True), Column("after_restart", "flag"),
            *_text("note"), Column("made_at", "time"),
        ),
    ),
    Table(
        "backup_items",
        (
            _UUID, _to("backup_id", "backups"), *_text("kind", "slot"),
            _to("listing_id", "listings"), _SIZE, *_numbers("captures"), *_text("unproven"),
        ),
    ),
    Table(
        "runs",
        (
            _UUID, _to("archive_id", "archives"), *_numbers("number"),
            _to("revision_id", "revisions", optional=True), _BOARD, *_text("profile"),
            Column("started_at", "time"), *_numbers("duration_ms"), *_text("command", "typed"),
            *_numbers("typed_cut"), *_text("printed"), *_numbers("printed_cut", "cut_after"),
            *_text("outcome", "error"), Column("error_line", "number", optional=True),
            Column("expected", "flag"),
        ),
    ),
    Table(
        "firmware_writes",
        (
            _UUID, _to("board_id", "boards"), _to("firmware_image_id", "firmware_images"),
            _to("previous_image_id", "firmware_images", optional=True),
            _to("backup_id", "backups", optional=True), *_text("role", "part"),
            Column("boot_section", "bytes", optional=True),
            Column("eeprom", "bytes", optional=True), Column("began_at", "time"),
            Column("ended_at", "time", optional=True), *_text("outcome", "banner"),
        ),
        changing=("ended_at", "outcome", "banner"),
    ),
    Table(
        "events",
        (
            _UUID, *_text("job"), _BOARD,
            _to("program_id", "programs", optional=True),
            _to("revision_id", "revisions", optional=True),
            _to("rescue_id", "rescues", optional=True), Column("started_at", "time"),
            Column("ended_at", "time", optional=True), *_text("outcome"),
            Column("detail", "json"),
        ),
        changing=("revision_id", "rescue_id", "ended_at", "outcome", "detail"),
    ),
    Table(
        "host_copies",
        (
            Column("raw", "bytes"), *_text("text", "canonical"),
            *_text("profile", "charset"), _SIZE, _to("revision_id", "revisions", optional=True),
            Column("changed_at", "time"), Column("proven_at", "time", optional=True),
            Column("may_lack_edits", "flag"),
        ),
        key="board_id",
    ),
)  # fmt: skip
TABLES = {table.name: table for table in _TABLES}
CARRIED = tuple(table for table in _TABLES if table.name not in ("listings", "host_copies"))
"""What goes from one archive to another as records; listings go as files. Host copies stay: they
tell what the boards at this computer hold now."""
