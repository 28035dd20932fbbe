"""What passes from one archive to another: records whose references are UUIDs instead of row ids.

Records and listings are given one after the other, so that an archive of any size can be carried
in little memory. Host copies are not carried: they tell what the boards at this computer hold now.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from typing import Any, Protocol

from sqlite_utils import Database

from hostlink.archive.database.checksums import checksum, is_sound
from hostlink.archive.database.faults import FAULTS, DamagedError, damaged, is_damage
from hostlink.archive.database.rows import checked
from hostlink.archive.database.tables import CARRIED, TABLES, Table
from hostlink.archive.listings import LARGEST_LISTING, proven_content
from hostlink.archive.naming import name_of
from hostlink.archive.records import Content

Record = dict[str, Any]


class RecordSource(Protocol):
    """Where records come from. left_out: in words, what could not be carried, as it was found."""

    left_out: list[str]

    def of(self, table: str) -> Iterator[Record]:
        """The records of a table, those that others refer to before these. `listing` is a number.

        A record has the carried columns of its table; a reference (without its _id) is a UUID.
        """

    def listing(self, number: int) -> Content:
        """The listing with that number, proven."""


_TIMES = {
    "revisions": "kept_at", "rescues": "kept_at", "notes": "noted_at", "backups": "made_at",
    "firmware_writes": "began_at", "events": "started_at",
}  # fmt: skip
_OF_PROGRAM = {"programs": "id", "revisions": "program_id", "notes": "program_id",
               "tags": "program_id"}  # fmt: skip
_STRANGERS = {"archives": "archive_id", "boards": "board_id"}
_UNKNOWN, _WHOLE, _DAMAGED = 0, 1, 2


class ArchiveRecords:
    """RecordSource read from an archive's file, within one transaction of a connection of its own.

    A row that is damaged is left out, with all that cannot be told without it.
    """

    def __init__(
        self, db: Database, *, programs: Collection[int] | None = None, since: str = ""
    ) -> None:
        """programs: row ids; then only they go, with their revisions, notes and tags. since: a
        stored time; older revisions, rescues, notes, backups, writes and events stay out."""
        self.left_out: list[str] = []
        self._db = db
        self._programs = None if programs is None else json.dumps(list(programs))
        self._since = since
        self._lost: dict[str, set[int]] = {name: set() for name in TABLES}
        self._listings = bytearray()
        self._last: tuple[int, Content] | None = None

    def of(self, table: str) -> Iterator[Record]:
        """The records of a table by row id; references point to lower ones."""
        which = TABLES[table]
        for row_id in self._ids(which):
            record = self._whole(which, row_id)
            if record is None:
                continue
            if table == "programs" and not self._since and not self._has_revision(row_id):
                self._leave_out(table, row_id, "has no revision that is whole")
                continue
            yield record

    def _whole(self, table: Table, row_id: int) -> Record | None:
        """A row as a record; None where it has to be left out, which is noted."""
        if row_id in self._lost[table.name]:
            return None
        try:
            return self._record(table, row_id)
        except DamagedError:
            self._leave_out(table.name, row_id, "is damaged")
        except FAULTS as error:
            if not is_damage(error):
                raise
            self._leave_out(table.name, row_id, "cannot be read")
        return None

    def _has_revision(self, program: int) -> bool:
        """Whether a program has a revision that can go; without one it would be nothing."""
        found = self._db.execute(
            "SELECT id FROM revisions WHERE program_id = ? ORDER BY id DESC", (program,)
        )
        return any(self._whole(TABLES["revisions"], row_id) for (row_id,) in found.fetchall())

    def listing(self, number: int) -> Content:
        """The listing of that row, proven. Raises DamagedError."""
        if self._last is None or self._last[0] != number:
            row = checked(self._db, "listings", number)
            content = proven_content(row, name_of(self._db, "listings", number))
            if max(len(content.raw), len(content.text.encode())) > LARGEST_LISTING:
                raise damaged(name_of(self._db, "listings", number))
            self._last = number, content
        return self._last[1]

    # --- rows ------------------------------------------------------------------------------------

    def _ids(self, table: Table) -> Iterator[int]:
        """The ids of the rows that are to go. Where a page is damaged, those beyond it too."""
        where = self._where(table)
        if where is None:
            return
        condition, values = where
        last = 0
        try:
            sql = f"SELECT id FROM {table.name} WHERE {condition} ORDER BY id"
            for (row_id,) in self._db.execute(sql, values):
                last = row_id
                yield row_id
        except FAULTS as error:
            if not is_damage(error):
                raise
            self.left_out.append(f"A part of the table {table.name} cannot be read.")
            yield from self._ids_beyond(table, last)

    def _ids_beyond(self, table: Table, last: int) -> Iterator[int]:
        """The ids after one where reading broke off, by the index of UUIDs, if that can be read."""
        if not table.has_uuid:
            return
        try:
            index = f"sqlite_autoindex_{table.name}_1"
            sql = f"SELECT id FROM {table.name} INDEXED BY {index} WHERE uuid > ''"
            found = sorted(row[0] for row in self._db.execute(sql) if row[0] > last)
        except FAULTS as error:
            if not is_damage(error):
                raise
            return
        yield from found

    def _where(self, table: Table) -> tuple[str, list[object]] | None:
        """The condition for a table's rows; None where none of them go."""
        if table.name in _STRANGERS:
            return self._used(_STRANGERS[table.name])
        parts, values = ["1"], list[object]()
        if self._programs is not None:
            if table.name not in _OF_PROGRAM:
                return None
            parts.append(f"{_OF_PROGRAM[table.name]} IN (SELECT value FROM json_each(?))")
            values.append(self._programs)
        if self._since and table.name in _TIMES:
            parts.append(f"{_TIMES[table.name]} >= ?")
            values.append(self._since)
        if self._since and table.name == "backup_items":
            parts.append("backup_id IN (SELECT id FROM backups WHERE made_at >= ?)")
            values.append(self._since)
        return " AND ".join(parts), values

    def _used(self, column: str) -> tuple[str, list[object]]:
        """The condition for archives or boards: that something refers to them that goes."""
        selects, values = [], list[object]()
        for table in CARRIED:
            where = None if table.name in _STRANGERS else self._where(table)
            if where is not None and any(each.name == column for each in table.columns):
                selects.append(f"SELECT {column} FROM {table.name} WHERE {where[0]}")
                values += where[1]
        return f"id IN ({' UNION '.join(selects)})", values

    def _record(self, table: Table, row_id: int) -> Record | None:
        """A row as a record; None where what it needs is left out. Raises DamagedError."""
        refers = [column for column in table.carried if column.refers]
        uuids = "".join(
            f", (SELECT uuid FROM {column.refers} AS it WHERE it.id = {table.name}.{column.name})"
            for column in refers
            if column.refers != "listings"
        )
        data = ", ".join(f", {name}" for name in table.hashed)
        sql = f"SELECT {', '.join(table.summed)}, checksum{data}{uuids} FROM {table.name}"
        row = self._db.execute(f"{sql} WHERE id = ?", (row_id,)).fetchone()
        summed = len(table.summed)
        if row is None or row[summed] != checksum(table, row[:summed]):
            raise damaged(table.name)
        names = [*table.summed, "checksum", *table.hashed]
        values = dict(zip(names, row, strict=False))
        if "data" in values and not is_sound(values["data"], values["sha256"]):
            raise damaged(table.name)
        found = iter(row[len(names) :])
        record: Record = {}
        for column in table.carried:
            name, value = column.name.removesuffix("_id"), values[column.name]
            if not column.refers:
                record[column.name] = value
            elif column.refers == "listings":
                if not self._has_listing(value):
                    self._leave_out(table.name, row_id, "has a damaged listing")
                    return None
                record[name] = value
            else:
                key = next(found)
                if value is not None and (key is None or value in self._lost[column.refers]):
                    if not column.optional:
                        what = column.refers.removesuffix("s").replace("_", " ")
                        self._leave_out(table.name, row_id, f"is of a damaged {what}")
                        return None
                    key = None
                record[name] = key
        return record

    def _has_listing(self, number: int) -> bool:
        """Whether a listing is whole; each is looked at once."""
        if number >= len(self._listings):
            self._listings.extend(bytes(2 * number + 1024 - len(self._listings)))
        if self._listings[number] == _UNKNOWN:
            try:
                self.listing(number)
                self._listings[number] = _WHOLE
            except DamagedError:
                self._listings[number] = _DAMAGED
        return self._listings[number] == _WHOLE

    def _leave_out(self, table: str, row_id: int, why: str) -> None:
        self._lost[table].add(row_id)
        what = name_of(self._db, table, row_id)
        self.left_out.append(f"{what[0].upper()}{what[1:]} {why}.")
