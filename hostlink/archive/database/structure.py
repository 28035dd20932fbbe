"""Check an archive file with SQLite: its structure, and its indexes against its tables."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from sqlite_utils import Database

from hostlink.archive.database.database_errors import FAULTS
from hostlink.archive.database.tables import TABLES, Table
from hostlink.words import safe

_OF_INDEX = re.compile(r"(missing from|entries in|non-unique entry in) index")
_OF_VALUE = re.compile(r"value in \w+\.\w+$|^CHECK constraint failed in ")


@dataclass(frozen=True, slots=True)
class StructureFault:
    """One fault. said: SQLite's description of it."""

    said: str

    @property
    def is_of_index(self) -> bool:
        """Return whether an index is damaged, which can be rebuilt from its table."""
        return bool(_OF_INDEX.search(self.said))

    @property
    def is_of_structure(self) -> bool:
        """Return whether the file's structure is damaged, not only a value in a row."""
        return not _OF_VALUE.search(self.said)


def faults_of(db: Database) -> Iterator[StructureFault]:
    """Yield up to a hundred faults that SQLite's own check finds (PRAGMA integrity_check).

    It compares the keys of an index with its table. An index entry that was cut short passes that,
    so this also checks that each entry leads to a row.
    """
    for row in db.execute("PRAGMA integrity_check"):
        if row[0] != "ok":
            yield StructureFault(safe(str(row[0])))
    for table in TABLES.values():
        for index in db.execute(f"PRAGMA index_list({table.name})").fetchall():
            yield from _rows_of(db, table, str(index["name"]))


def _rows_of(db: Database, table: Table, index: str) -> Iterator[StructureFault]:
    """Yield a fault for an index that leads to other rows than its table has."""
    held = "SELECT sql FROM sqlite_master WHERE type = 'index' AND name = ?"
    sql = (db.execute(held, (index,)).fetchone() or (None,))[0]
    _, where, condition = str(sql or "").partition(" WHERE ")
    sums = [
        f"SELECT total({table.key}) FROM {table.name} {how}{where}{condition}"
        for how in (f"INDEXED BY {index}", "NOT INDEXED")
    ]
    try:
        by_index, by_table = (db.execute(sql).fetchone()[0] for sql in sums)
    except FAULTS as error:
        yield StructureFault(f"entries in index {safe(index)} cannot be read ({safe(str(error))})")
        return
    if by_index != by_table:
        yield StructureFault(f"rows wrong in, or missing from index {safe(index)}")
