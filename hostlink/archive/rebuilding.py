"""Rebuild what can be derived: word indexes, other indexes, triggers and views.

Kept data is only read, but `accept` renews checksums. Each method is one transaction.
"""

from __future__ import annotations

import json
from typing import NamedTuple

from sqlite_utils import Database

from hostlink.archive.archive_file import ArchiveFile, new_uuid
from hostlink.archive.database.checksums import is_whole
from hostlink.archive.database.migrations import STEPS, drop_rules, row_fits, run_script
from hostlink.archive.database.rows import damaged_rows, first, insert, replace, rows
from hostlink.archive.database.rules import RULES
from hostlink.archive.database.tables import TABLES
from hostlink.archive.lookup import count_revisions
from hostlink.archive.naming import name_of

WORD_INDEXES = ("listing_words", "program_words", "run_words")
DERIVED = ("index", "trigger", "view")
"""Kinds of schema objects that hold only what a table holds too."""


class Rebuilding(ArchiveFile):
    """The archive's methods that rebuild derived data."""

    def rebuild(self) -> None:
        """Rebuild the word indexes, every other index, and all rules and views.

        Raises ArchiveError, and changes nothing then. `prove` still finds what this cannot mend.
        """
        with self.writing("What was rebuilt") as db:
            drop_rules(db)
            due, there = due_objects(), objects_in(db)
            for name, one in due.items():
                if one.kind == "index" and there.get(name) != one:
                    if name in there:
                        db.execute(f"DROP INDEX {name}")
                    db.execute(one.sql)
            db.execute("REINDEX")
            for index in WORD_INDEXES:
                _forget(db, index)
                db.execute(due[index].sql)
            run_script(db, RULES)
            for index in ("listing_words", "run_words"):
                db.execute(f"INSERT INTO {index} ({index}) VALUES ('rebuild')")
            db.execute(
                "INSERT INTO program_words (rowid, name, title, notes, tags) "
                "SELECT id, name, title, notes, tags FROM program_words_due"
            )
            _count_all(db)

    def accept(self) -> list[str]:
        """Accept damaged rows as they now read, where no duplicate or export can heal them.

        A wrong letter in a note is better than no note. Only rows in which each value fits its
        column are accepted; a listing must still match its SHA-256 to be read. One event records
        them all. Returns phrases that name them.
        """
        with self.writing("What was accepted") as db:
            accepted = []
            for name, table in TABLES.items():
                for row_id in list(damaged_rows(db, name)):
                    sql = f"SELECT {table.names} FROM {name} WHERE {table.key} = ?"
                    row = first(db, sql, (row_id,))
                    if row is not None and row_fits(table, row):
                        replace(db, name, row_id, {})
                        accepted.append(name_of(db, name, row_id))
            if accepted:
                _count_all(db)
                at = self._time()
                insert(db, "events", uuid=new_uuid(), job="accept", started_at=at, ended_at=at,
                       outcome="done", detail=json.dumps({"rows": accepted}))  # fmt: skip
            return accepted


def _count_all(db: Database) -> None:
    """Count the revisions of each program whose row is undamaged."""
    table = TABLES["programs"]
    for row in rows(db, f"SELECT {table.names} FROM programs"):
        if is_whole(table, row):
            count_revisions(db, row["id"])


def _forget(db: Database, index: str) -> None:
    """Remove a word index. DROP TABLE would open it first, and fail if it is damaged."""
    db.execute("PRAGMA writable_schema = ON")
    try:
        db.execute("DELETE FROM sqlite_master WHERE name = ?", (index,))
        db.execute("UPDATE sqlite_master SET tbl_name = name WHERE name GLOB ?", (f"{index}_*",))
    finally:
        db.execute("PRAGMA writable_schema = RESET")  # off, and the schema read again
    parts = "SELECT name FROM sqlite_master WHERE type = 'table' AND name GLOB ?"
    for row in db.execute(parts, (f"{index}_*",)).fetchall():
        db.execute(f"DROP TABLE {row[0]}")


class SchemaObject(NamedTuple):
    """A row of a schema. table: the table of an index or trigger, else its own name."""

    kind: str
    sql: str
    table: str


def due_objects() -> dict[str, SchemaObject]:
    """Return the schema objects of a new archive."""
    model = Database(memory=True, execute_plugins=False)
    try:
        STEPS.migrations.apply(model)
        return objects_in(model)
    finally:
        model.close()


def objects_in(db: Database) -> dict[str, SchemaObject]:
    """Return the objects of a schema that have SQL, by name."""
    found = db.execute("SELECT name, type, sql, tbl_name FROM sqlite_master WHERE sql IS NOT NULL")
    objects = {str(name): SchemaObject(*map(str, held)) for name, *held in found}
    return {name: held for name, held in objects.items() if not name.startswith("sqlite_")}
