"""Taking in what was carried from another archive: whole, or not at all.

Rules:
1. Everything is known by its UUID. What is here already is left as it is, so merging twice changes
   nothing; and if it differs from what comes, the whole cargo is refused, for one of them is false.
2. Programs of the same name are the same only if their UUIDs are. Otherwise the one that comes is
   shown as NAME-12345, after its UUID; ours keeps its name.
3. Revision numbers stay those of the archive that gave them (NAME@3/12345678 names the third of
   archive 12345678 where ours has a third of its own).
4. A board is the same where its serial number is. One without is the same only by its UUID, since
   its place says nothing on another computer.
5. Where two archives disagree on what may change, the answer does not depend on which one asks:
   tags are united, a retirement lasts until a later use, an event that ended has ended.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from hostlink.archive.carried import BY_NAME, TABLES, Cargo, Record, Table, gather, listing_key
from hostlink.archive.healing import Healing, is_sound
from hostlink.archive.listings import check_content, put_listing
from hostlink.archive.names import LONGEST_NAME, checked_name, clean, fold
from hostlink.archive.retiring import settle
from hostlink.archive.session import first, insert
from hostlink.archive.times import read, stored
from hostlink.errors import ArchiveError

_NUMBERS = {
    "number", "size_bytes", "captures", "after_restart", "usb_vid", "usb_pid", "restarts_on_open",
    "free_bytes",
}  # fmt: skip
_MAY_BE_NONE = {
    "size_bytes", "usb_vid", "usb_pid", "restarts_on_open", "free_bytes", "retired_at", "ended_at",
}  # fmt: skip
_EARLIER_FIRST = "If it is one of several exports, import the earlier ones first."
_MAY_DIFFER = {"boards", "programs", "events", "firmware_writes"}


@dataclass(frozen=True, slots=True)
class Merged:
    """How many rows of each kind were new here, and programs that are shown under another name."""

    added: Mapping[str, int]
    renamed: Mapping[str, str]

    @property
    def anything(self) -> bool:
        return any(self.added.values())


class Merging(Healing):
    """Giving out and taking in cargo."""

    def cargo(self, *, programs: tuple[str, ...] = (), since: str = "") -> Cargo:
        """What to carry: everything, the named programs, or what is newer than a stored time.

        Raises ArchiveError for a program that is not here and for a damaged listing.
        """
        from hostlink.archive.lookup import program_id

        with self.reading("What is to be exported") as db:
            chosen = [program_id(db, name) for name in programs] if programs else None
            return gather(db, programs=chosen, since=since)

    def merge(self, cargo: Cargo) -> Merged:
        """Take in cargo. Raises ArchiveError with the reason: then nothing of it was taken in."""
        for key, content in cargo.listings.items():
            check_content(content)
            if listing_key(content) != key:
                raise _refused("a listing is not the one that its name says")
        with self.writing("What was to be imported") as db:
            for content in cargo.listings.values():
                self.heal(content)
            return _Merge(db, cargo, self).run()

    def merge_file(self, path: Path) -> Merged:
        """Take in another archive's file. Raises ArchiveError."""
        with type(self).open(path, create=False, read_only=True) as other:
            return self.merge(other.cargo())


class _Merge:
    """One merge, inside one transaction."""

    def __init__(self, db: Database, cargo: Cargo, healing: Healing) -> None:
        self._db = db
        self._healing = healing
        self._cargo = cargo
        self._ids: dict[str, dict[str, int]] = {table.name: {} for table in TABLES}
        self._listings: dict[str, int] = {}
        self._added = {table.name: 0 for table in TABLES}
        self._renamed: dict[str, str] = {}
        self._retired: dict[int, str] = {}  # when, of programs that one of the two has retired

    def run(self) -> Merged:
        for table in TABLES:
            records = self._cargo.records[table.name]
            for record in _parents_first(records) if table.name == "revisions" else records:
                self._take(table, record)
        self._refuse_empty_programs()
        for program, at in self._retired.items():
            settle(self._db, program, at)
        return Merged(self._added, self._renamed)

    def _refuse_empty_programs(self) -> None:
        """An export of what is newer names every program; here its revisions must have come."""
        empty = first(
            self._db,
            "SELECT name FROM programs WHERE id IN (SELECT value FROM json_each(?)) "
            "AND NOT EXISTS (SELECT 1 FROM revisions WHERE program_id = programs.id)",
            (json.dumps(list(self._ids["programs"].values())),),
        )
        if empty is not None:
            raise _refused(f"it has {empty['name']} without its revisions", _EARLIER_FIRST)

    def _take(self, table: Table, record: Record) -> None:
        values = self._values(table, record)
        if not table.has_uuid:
            self._take_tag(values)
            return
        held = first(self._db, f"SELECT * FROM {table.name} WHERE uuid = ?", (record["uuid"],))
        if held is None and table.name == "boards":
            held = self._same_board(values)
        if table.name == "firmware_images":
            held = self._same_image(held, values)
        if held is not None:
            self._meet(table, held, values)
            self._ids[table.name][record["uuid"]] = held["id"]
            return
        if table.name == "programs":
            self._name_program(record, values)
        if table.name == "boards":
            self._place_board(record, values)
        row = insert(self._db, table.name, uuid=record["uuid"], **values)
        self._ids[table.name][record["uuid"]] = row
        self._added[table.name] += 1

    def _values(self, table: Table, record: Record) -> dict[str, Any]:
        """The columns of a record, its references turned into row ids here."""
        values = {column: record[column] for column in (*table.columns, *table.blobs)}
        for column, target in table.refs.items():
            values[column] = self._row(target, record[column.removesuffix("_id")])
        return values

    def _row(self, table: str, key: str | None) -> int | None:
        if key is None:
            return None
        if table == "listings":
            if key not in self._listings:
                if key not in self._cargo.listings:
                    raise _refused("a listing is missing")
                self._listings[key] = put_listing(self._db, self._cargo.listings[key])
            return self._listings[key]
        if key not in self._ids[table]:
            held = first(self._db, f"SELECT id FROM {table} WHERE uuid = ?", (key,))
            if held is None:
                raise _refused(
                    f"it needs something of {table.replace('_', ' ')} that is not in it",
                    _EARLIER_FIRST,
                )
            self._ids[table][key] = held["id"]
        return self._ids[table][key]

    # --- what is here already ----------------------------------------------------------------

    def _meet(self, table: Table, held: Mapping[str, Any], values: Mapping[str, Any]) -> None:
        """Both archives have it: they must agree, except on what may change."""
        if table.name not in _MAY_DIFFER:
            ignored = {"kept_at", "part", "name"} if table.name == "firmware_images" else set()
            if any(held[key] != value for key, value in values.items() if key not in ignored):
                raise _refused(
                    f"one of its {table.name.replace('_', ' ')} is here with other content"
                )
        elif table.name == "programs":
            self._meet_program(held, values)
        elif table.name in ("events", "firmware_writes") and held["ended_at"] is None:
            later = {key: value for key, value in values.items() if not key.endswith("_id")}
            if values["ended_at"] is not None:
                self._update(table.name, held["id"], later)
        elif table.name == "boards" and values["last_seen"] > held["last_seen"]:
            self._update("boards", held["id"], {"last_seen": values["last_seen"]})

    def _meet_program(self, held: Mapping[str, Any], values: Mapping[str, Any]) -> None:
        title = max(held["title"], values["title"], key=lambda text: (len(text), text))
        self._update("programs", held["id"], {"title": title})
        if times := [at for at in (held["retired_at"], values["retired_at"]) if at]:
            self._retired[held["id"]] = max(times)

    def _update(self, table: str, row: int, values: Mapping[str, Any]) -> None:
        columns = ", ".join(f"{column} = ?" for column in values)
        self._db.execute(f"UPDATE {table} SET {columns} WHERE id = ?", [*values.values(), row])

    def _take_tag(self, values: Mapping[str, Any]) -> None:
        self._added["tags"] += self._db.execute(
            "INSERT OR IGNORE INTO tags (program_id, tag, tag_key) VALUES (?, ?, ?)",
            (values["program_id"], values["tag"], fold(values["tag"])),
        ).rowcount

    # --- what is new here --------------------------------------------------------------------

    def _name_program(self, record: Record, values: dict[str, Any]) -> None:
        name = checked_name(values["name"])
        taken = "SELECT 1 FROM programs WHERE name_key = ?"
        if first(self._db, taken, (fold(name),)):
            mark = f"-{record['uuid'][:5]}"
            shown = name[: LONGEST_NAME - len(mark)] + mark
            self._renamed[name] = shown
            name = shown
        values["name"], values["name_key"] = name, fold(name)
        values["title"] = clean(values["title"])

    def _same_board(self, values: Mapping[str, Any]) -> Mapping[str, Any] | None:
        if not values["usb_serial"]:
            return None
        return first(
            self._db,
            "SELECT * FROM boards WHERE usb_serial = ? AND usb_vid IS ? AND usb_pid IS ?",
            (values["usb_serial"], values["usb_vid"], values["usb_pid"]),
        )

    def _same_image(
        self, held: Mapping[str, Any] | None, values: Mapping[str, Any]
    ) -> Mapping[str, Any] | None:
        """The image as it is here, whole; one kept earlier stands for the same from elsewhere."""
        if not is_sound(values["data"], values["sha256"]):
            raise _refused("a firmware image in it has another SHA-256 than it says")
        same = "SELECT * FROM firmware_images WHERE "
        held = held or first(self._db, f"{same} sha256 = ?", (values["sha256"],))
        if held is None:
            return None
        self._healing.heal_image(held, values["data"])
        return first(self._db, f"{same} id = ?", (held["id"],))

    def _place_board(self, record: Record, values: dict[str, Any]) -> None:
        if not values["usb_serial"]:
            values["location"] = f"elsewhere ({record['uuid'][:8]}): {values['location']}"
        label = clean(values["label"])
        if label and first(self._db, "SELECT 1 FROM boards WHERE label_key = ?", (fold(label),)):
            label = f"{label} {record['uuid'][:5]}"
        values["label"], values["label_key"] = label, fold(label) or None


def _parents_first(records: list[Record]) -> list[Record]:
    """Revisions in an order in which each parent comes before its children.

    Raises ArchiveError where revisions are their own ancestors.
    """
    waiting = {record["uuid"]: record for record in records}
    ordered: list[Record] = []
    while waiting:
        ready = [each for each in waiting.values() if each["parent"] not in waiting]
        if not ready:
            raise _refused("a revision in it is its own ancestor")
        for record in ready:
            ordered.append(record)
            del waiting[record["uuid"]]
    return ordered


def _refused(reason: str, advice: str = "") -> ArchiveError:
    return ArchiveError(
        f"The import was refused: {reason}.",
        kept="Nothing of it was taken in; the archive is as it was.",
        advice=advice,
    )


def check_record(table: str, record: object) -> Record:
    """A record from outside, if it has exactly the fields of its table and each is of a kind that
    can be stored. Raises ArchiveError."""
    wanted = BY_NAME[table]
    fields = {
        *(["uuid"] if wanted.has_uuid else []),
        *wanted.columns,
        *wanted.blobs,
        *(column.removesuffix("_id") for column in wanted.refs),
    }
    if not isinstance(record, dict) or set(record) != fields:
        raise _refused(f"a record of {table} does not have the fields it should")
    for key, value in record.items():
        if not _fits(key, value, wanted):
            raise _refused(f"{key} of a record of {table} is not what it should be")
        if value is not None and key.endswith(("_at", "_seen")) and not _is_time(value):
            raise _refused(f"{key} of a record of {table} is not a time")
    if wanted.has_uuid and not _is_uuid(record["uuid"]):
        raise _refused(f"a record of {table} has no UUID")
    return record


def _fits(key: str, value: object, table: Table) -> bool:
    """Whether a value is of its column's kind: bytes, a whole number, or a text; or may be none."""
    if value is None:
        is_reference = f"{key}_id" in table.refs
        return is_reference or key in table.blobs or key in _MAY_BE_NONE
    if key in table.blobs:
        return isinstance(value, bytes)
    if key in _NUMBERS:
        return isinstance(value, int) and not isinstance(value, bool) and abs(value) < 1 << 62
    return isinstance(value, str) and clean(value) == value


def _is_time(value: object) -> bool:
    try:
        return isinstance(value, str) and stored(read(value)) == value
    except (ValueError, OverflowError):
        return False


def _is_uuid(value: object) -> bool:
    import uuid

    try:
        return isinstance(value, str) and str(uuid.UUID(value)) == value
    except ValueError:
        return False
