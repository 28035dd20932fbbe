"""Number records that come from a copy of the same archive.

A duplicate has the identity of its archive, so if both stay in use, both give the next number.
Rules:

1. A record here keeps its number. An imported record whose number is taken is marked as numbered by
   a copy of the archive, and so are the later ones of the same program. Its spec is that of any
   other archive: NAME@3/12345678.
2. The UUID of the copy is derived from that of the archive (RFC 9562, version 5), so that every
   computer derives the same one.
3. A record that the archive numbered in one place and its copy in another is the same record.
"""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterator
from typing import Any

from sqlite_utils import Database

from hostlink.archive.database.rows import Row, checked_row, first, insert, rows
from hostlink.archive.database.tables import Table
from hostlink.archive.exchange.arriving import refused

_NUMBERED = {"revisions": ("program_id",), "rescues": (), "backups": (), "runs": ()}
"""Tables with numbered rows, and the columns within which, in one archive, a number is unique."""
_MOST_COPIES = 50


class Copies:
    """The numbers in one import from an archive that may be a copy of this one."""

    def __init__(self, db: Database) -> None:
        self.marks: list[str] = []  # the UUIDs by which something new is named
        self._db = db
        self._went_to: dict[tuple[object, ...], int] = {}

    def as_held(self, table: Table, held: Row, values: dict[str, Any]) -> dict[str, Any]:
        """Return the columns of a record that this archive has, with the archive recorded here."""
        if table.name not in _NUMBERED or held["archive_id"] == values["archive_id"]:
            return values
        if held["archive_id"] not in self._family(values["archive_id"]):
            return values
        self._went_to[_line(table, values)] = held["archive_id"]
        return {**values, "archive_id": held["archive_id"]}

    def as_new(self, table: Table, values: dict[str, Any]) -> dict[str, Any]:
        """Return the columns of a new record; its archive or a copy of it has that number free."""
        if table.name not in _NUMBERED:
            return values
        line = _line(table, values)
        wanted = self._went_to.get(line, values["archive_id"])
        for archive in itertools.chain((wanted,), self._copies(wanted)):
            new = {**values, "archive_id": archive}
            if not self._is_taken(table, new):
                if archive != values["archive_id"]:
                    self._went_to[line] = archive
                    self._mark(archive)
                return new
        raise refused(f"more than {_MOST_COPIES} copies of one archive gave the same number")

    def _is_taken(self, table: Table, values: Row) -> bool:
        keys = ("archive_id", "number", *_NUMBERED[table.name])
        where = " AND ".join(f"{key} = ?" for key in keys)
        sql = f"SELECT 1 FROM {table.name} WHERE {where}"
        return first(self._db, sql, [values[key] for key in keys]) is not None

    def _mark(self, archive: int) -> None:
        copy = str(checked_row(self._db, "archives", archive)["uuid"])
        if copy not in self.marks:
            self.marks.append(copy)

    def _copies(self, archive: int) -> Iterator[int]:
        """Yield the row ids of an archive's copies, adding each missing row when it is reached."""
        about = checked_row(self._db, "archives", self._root(archive))
        for copy in _identities(about["uuid"]):
            held = first(self._db, "SELECT id FROM archives WHERE uuid = ?", (copy,))
            yield (
                int(held["id"])
                if held
                else insert(
                    self._db,
                    "archives",
                    uuid=copy,
                    made_at=about["made_at"],
                    made_by=about["made_by"],
                )
            )

    def _family(self, archive: int) -> set[int]:
        """Return the row ids of an archive and its copies, without adding any."""
        root = self._root(archive)
        copies = set(_identities(checked_row(self._db, "archives", root)["uuid"]))
        held = rows(self._db, "SELECT id, uuid FROM archives")
        return {root, *(each["id"] for each in held if each["uuid"] in copies)}

    def _root(self, archive: int) -> int:
        """Return the row id of the archive that this one is a copy of; its own for an original."""
        uuid_of = {each["id"]: each["uuid"] for each in rows(self._db, "SELECT * FROM archives")}
        for root, known in uuid_of.items():
            if uuid_of[archive] in _identities(known):
                return int(root)
        return archive


def _line(table: Table, values: Row) -> tuple[object, ...]:
    """Return the key of a number sequence: by archive, and for revisions by program."""
    return (table.name, values["archive_id"], *(values[key] for key in _NUMBERED[table.name]))


def _identities(archive: str) -> list[str]:
    """Return the UUIDs of an archive's copies."""
    try:
        known = uuid.UUID(archive)
    except ValueError:
        return []  # damaged here
    return [str(uuid.uuid5(known, f"copy {turn}")) for turn in range(1, _MOST_COPIES + 1)]
