"""Copies of one archive that each went on: two things then have one number of one archive.

A duplicate has the identity of its archive, so both give the next number. Rules:

1. What is here keeps its number. What comes with a number that is taken is noted as numbered by a
   copy of that archive; so is all that comes after it of the same program. It is named like what
   any other archive numbered: NAME@3/12345678.
2. The UUID of such a copy follows from the archive's (RFC 9562, version 5), so that every computer
   gives it the same name.
3. One thing may be numbered by the archive in one place and by its copy in another: it is the same.
"""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterator
from typing import Any

from sqlite_utils import Database

from hostlink.archive.database.rows import Row, checked, first, insert, rows
from hostlink.archive.database.tables import Table
from hostlink.archive.exchange.arriving import refused

_NUMBERED = {"revisions": ("program_id",), "rescues": (), "backups": ()}
"""Tables with numbers, and what beside the archive a number belongs to."""
_MOST_COPIES = 50


class Copies:
    """The numbers of one import, where its archive and ours are copies of each other."""

    def __init__(self, db: Database) -> None:
        self.marks: list[str] = []  # the UUIDs by which something new is named
        self._db = db
        self._went_to: dict[tuple[object, ...], int] = {}

    def as_held(self, table: Table, held: Row, values: dict[str, Any]) -> dict[str, Any]:
        """The columns of something that is here, the archive being the one that is noted here."""
        if table.name not in _NUMBERED or held["archive_id"] == values["archive_id"]:
            return values
        if held["archive_id"] not in self._family(values["archive_id"]):
            return values
        self._went_to[_line(table, values)] = held["archive_id"]
        return {**values, "archive_id": held["archive_id"]}

    def as_new(self, table: Table, values: dict[str, Any]) -> dict[str, Any]:
        """The columns of something new, the archive being one that gave no such number here."""
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
        copy = str(checked(self._db, "archives", archive)["uuid"])
        if copy not in self.marks:
            self.marks.append(copy)

    def _copies(self, archive: int) -> Iterator[int]:
        """The rows of an archive's copies, each made when it is asked for and is not here."""
        about = checked(self._db, "archives", self._root(archive))
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
        """The rows of an archive and its copies, as far as they are here."""
        root = self._root(archive)
        copies = set(_identities(checked(self._db, "archives", root)["uuid"]))
        held = rows(self._db, "SELECT id, uuid FROM archives")
        return {root, *(each["id"] for each in held if each["uuid"] in copies)}

    def _root(self, archive: int) -> int:
        """The archive that another is a copy of, itself where it is none."""
        uuid_of = {each["id"]: each["uuid"] for each in rows(self._db, "SELECT * FROM archives")}
        for root, known in uuid_of.items():
            if uuid_of[archive] in _identities(known):
                return int(root)
        return archive


def _line(table: Table, values: Row) -> tuple[object, ...]:
    """What goes on together: the numbers of one archive for one program, or for all rescues."""
    return (table.name, values["archive_id"], *(values[key] for key in _NUMBERED[table.name]))


def _identities(archive: str) -> list[str]:
    """The UUIDs of an archive's copies."""
    try:
        known = uuid.UUID(archive)
    except ValueError:
        return []  # damaged here
    return [str(uuid.uuid5(known, f"copy {turn}")) for turn in range(1, _MOST_COPIES + 1)]
