"""Records that pass from one archive to another, with UUIDs for references instead of row ids.

Records and listings are read one by one, so that an archive of any size takes little memory. Host
copies are not exported, because they describe the boards at this computer.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterator
from typing import Any, Protocol

from sqlite_utils import Database

from hostlink.archive.database.checksums import checksum, is_sound
from hostlink.archive.database.database_errors import FAULTS, DamagedError, damaged, is_damage
from hostlink.archive.database.rows import checked_row
from hostlink.archive.database.tables import CARRIED, TABLES, Table
from hostlink.archive.listings import LARGEST_LISTING, proven_content
from hostlink.archive.naming import name_of
from hostlink.archive.records import LEARNER, Content

Record = dict[str, Any]


class RecordSource(Protocol):
    """A source of records. left_out: sentences on what could not be exported."""

    left_out: list[str]

    def of(self, table: str) -> Iterator[Record]:
        """Yield the records of a table; a record comes after those that it refers to.

        A record has the exported columns of its table. A reference is a UUID under the name without
        _id; `listing` is a number.
        """

    def listing(self, number: int) -> Content:
        """Return the listing with that number, proven."""


_TIMES = {
    "revisions": "kept_at", "rescues": "kept_at", "notes": "noted_at", "backups": "made_at",
    "runs": "started_at", "firmware_writes": "began_at", "events": "started_at",
}  # fmt: skip
_OF_PROGRAM = {
    "programs": "id IN ({})",
    "revisions": "program_id IN ({})",
    "notes": "program_id IN ({})",
    "tags": "program_id IN ({})",
    "runs": "revision_id IN (SELECT id FROM revisions WHERE program_id IN ({}))",
}
_OF_PRIVATE = "coalesce(revision_id, 0) NOT IN (SELECT id FROM revisions WHERE program_id IN ({}))"
_PRIVATE = {
    "programs": "id NOT IN ({})",
    "revisions": "program_id NOT IN ({})",
    "notes": "program_id NOT IN ({})",
    "tags": "program_id NOT IN ({})",
    "rescues": "coalesce(program_id, 0) NOT IN ({})",
    "runs": _OF_PRIVATE,
    "events": f"coalesce(program_id, 0) NOT IN ({{}}) AND {_OF_PRIVATE}"
    f" AND json_extract(detail, '$.{LEARNER}') IS NULL",
}
_CHOSEN = "SELECT value FROM json_each(?)"
_STRANGERS = {"archives": "archive_id", "boards": "board_id"}
_UNKNOWN, _WHOLE, _DAMAGED = 0, 1, 2


def _naming(db: Database, programs: str) -> re.Pattern[str] | None:
    """Return a pattern that finds the name of any of these programs as a word, None without names.

    It also finds the name of a learner's program of which nothing was saved. programs: row ids as
    JSON.
    """
    named = db.execute(
        f"SELECT name FROM programs WHERE id IN ({_CHOSEN}) UNION SELECT whose FROM (SELECT "
        f"json_extract(detail, '$.{LEARNER}') AS whose FROM events) "
        "WHERE lower(whose) NOT IN (SELECT lower(name) FROM programs)",
        (programs,),
    )
    either = "|".join(re.escape(name) for (name,) in named)
    return re.compile(rf"(?<![\w-])(?:{either})(?![\w-])") if either else None


class ArchiveRecords:
    """Records of an archive file, read in one transaction of a connection of their own.

    A damaged row is left out, with everything that needs it.
    """

    def __init__(
        self,
        db: Database,
        *,
        programs: Collection[int] | None = None,
        private: Collection[int] | None = None,
        since: str = "",
    ) -> None:
        """Choose the records to export.

        programs: row ids of the only programs, exported with their revisions, notes, tags and runs.
        private: row ids of programs not to export, nor any record that names one (`withheld` counts
        those, without events); None to export what names learners too. since: a stored time; older
        revisions, rescues, notes, backups, runs, writes and events are left out.
        """
        self.left_out: list[str] = []
        self._db = db
        self._programs = None if programs is None else json.dumps(list(programs))
        self._withheld: set[tuple[str, int]] = set()
        self.private = len(private or ())
        self._private = json.dumps(list(private or ()))
        self._named = _naming(db, self._private) if private is not None else None
        self._since = since
        self._lost: dict[str, set[int]] = {name: set() for name in TABLES}
        for table in ("revisions", "rescues") if private else ():
            of_them = f"SELECT id FROM {table} WHERE program_id IN ({_CHOSEN})"
            self._lost[table].update(row for (row,) in db.execute(of_them, (self._private,)))
        self._listings = bytearray()
        self._last: tuple[int, Content] | None = None

    def of(self, table: str) -> Iterator[Record]:
        """Yield the records of a table by row id; references point to lower ids."""
        which = TABLES[table]
        for row_id in self._ids(which):
            record = self._whole(which, row_id)
            if record is None:
                continue
            if table == "programs" and not self._since and not self._has_revision(row_id):
                if not self._is_withheld(table, row_id):
                    self._leave_out(table, row_id, "has no undamaged revision")
                continue
            yield record

    def _whole(self, table: Table, row_id: int) -> Record | None:
        """Return a row as a record, or None if it is left out."""
        if row_id in self._lost[table.name]:
            return None
        try:
            record = self._record(table, row_id)
            texts = (each for each in (record or {}).values() if isinstance(each, str))
            if self._named is not None and any(map(self._named.search, texts)):
                self._withhold(table.name, row_id)
                return None
            return record
        except DamagedError:
            self._leave_out(table.name, row_id, "is damaged")
        except FAULTS as error:
            if not is_damage(error):
                raise
            self._leave_out(table.name, row_id, "cannot be read")
        return None

    def _withhold(self, table: str, row_id: int) -> None:
        self._lost[table].add(row_id)
        self._withheld.add((table, row_id))

    def _is_withheld(self, table: str, row_id: int) -> bool:
        """Return whether a row is withheld; a program is if any of its revisions is."""
        of_it = self._db.execute("SELECT id FROM revisions WHERE program_id = ?", (row_id,))
        if table == "programs" and self._withheld & {("revisions", one) for (one,) in of_it}:
            self._withhold(table, row_id)
        return (table, row_id) in self._withheld

    @property
    def withheld(self) -> int:
        """Return how many records, without events, were withheld for naming a private program."""
        return sum(table != "events" for table, _ in self._withheld)

    def _has_revision(self, program: int) -> bool:
        """Return whether a program has a revision that can be exported."""
        found = self._db.execute(
            "SELECT id FROM revisions WHERE program_id = ? ORDER BY id DESC", (program,)
        )
        return any(self._whole(TABLES["revisions"], row_id) for (row_id,) in found.fetchall())

    def listing(self, number: int) -> Content:
        """Return the listing of a row, proven. Raises DamagedError."""
        if self._last is None or self._last[0] != number:
            row = checked_row(self._db, "listings", number)
            content = proven_content(row, name_of(self._db, "listings", number))
            if max(len(content.raw), len(content.text.encode())) > LARGEST_LISTING:
                raise damaged(name_of(self._db, "listings", number))
            self._last = number, content
        return self._last[1]

    # --- rows ------------------------------------------------------------------------------------

    def _ids(self, table: Table) -> Iterator[int]:
        """Yield the ids of the rows to export, including those after a damaged page."""
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
        """Yield the ids above `last`, where reading broke off, if the UUID index can be read."""
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
        """Return the SQL condition for the rows of a table, or None if none are exported."""
        if table.name in _STRANGERS:
            return self._used(_STRANGERS[table.name])
        parts, values = ["1"], list[object]()
        if self._named and table.name in _PRIVATE:
            times = _PRIVATE[table.name].count("{}")
            parts.append(_PRIVATE[table.name].format(*[_CHOSEN] * times))
            values += [self._private] * times
        if self._programs is not None:
            if table.name not in _OF_PROGRAM:
                return None
            parts.append(_OF_PROGRAM[table.name].format(_CHOSEN))
            values.append(self._programs)
        if self._since and table.name in _TIMES:
            parts.append(f"{_TIMES[table.name]} >= ?")
            values.append(self._since)
        if self._since and table.name == "backup_items":
            parts.append("backup_id IN (SELECT id FROM backups WHERE made_at >= ?)")
            values.append(self._since)
        return " AND ".join(parts), values

    def _used(self, column: str) -> tuple[str, list[object]]:
        """Return the condition for archives or boards to which exported rows refer."""
        selects, values = [], list[object]()
        for table in CARRIED:
            where = None if table.name in _STRANGERS else self._where(table)
            if where is not None and any(each.name == column for each in table.columns):
                selects.append(f"SELECT {column} FROM {table.name} WHERE {where[0]}")
                values += where[1]
        return f"id IN ({' UNION '.join(selects)})", values

    def _record(self, table: Table, row_id: int) -> Record | None:
        """Return a row as a record, or None if it needs something left out. Raises DamagedError."""
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
                        self._lacks(table.name, row_id, column.refers, value)
                        return None
                    key = None
                record[name] = key
        return record

    def _has_listing(self, number: int) -> bool:
        """Return whether a listing is undamaged; each is read once."""
        if number >= len(self._listings):
            self._listings.extend(bytes(2 * number + 1024 - len(self._listings)))
        if self._listings[number] == _UNKNOWN:
            try:
                self.listing(number)
                self._listings[number] = _WHOLE
            except DamagedError:
                self._listings[number] = _DAMAGED
        return self._listings[number] == _WHOLE

    def _lacks(self, table: str, row_id: int, refers: str, value: int) -> None:
        """Leave out a row that needs another one which is withheld or damaged."""
        if (refers, value) in self._withheld:
            self._withhold(table, row_id)
        else:
            what = refers.removesuffix("s").replace("_", " ")
            self._leave_out(table, row_id, f"belongs to a damaged {what}")

    def _leave_out(self, table: str, row_id: int, why: str) -> None:
        self._lost[table].add(row_id)
        what = name_of(self._db, table, row_id)
        self.left_out.append(f"{what[0].upper()}{what[1:]} {why}.")
