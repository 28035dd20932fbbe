"""Migrate an archive from one schema to the next; a new archive takes all steps."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass

from sqlite_utils import Database, Migrations

from hostlink.archive.database.checksums import checksum
from hostlink.archive.database.rows import Row, rows
from hostlink.archive.database.rules import RULES
from hostlink.archive.database.schema import (
    INDEXES_4,
    TABLES_1,
    TABLES_2,
    TABLES_5,
    TABLES_OF_2,
    WORDS_1,
)
from hostlink.archive.database.tables import TABLES, Table
from hostlink.words import fold

_AT_ONCE = 2000


@dataclass(frozen=True)
class MigrationSteps:
    """The migrations in order. latest: the schema number after the last one."""

    migrations: Migrations
    latest: int


def schema_steps() -> MigrationSteps:
    """Return all migrations."""
    migrations = Migrations("hostlink")

    @migrations(name="schema 1")
    def schema_1(db: Database) -> None:
        run_script(db, TABLES_1)
        run_script(db, WORDS_1)

    @migrations(name="schema 2")
    def schema_2(db: Database) -> None:
        drop_rules(db)
        run_script(db, TABLES_2)
        _note_latest(db)
        for name in TABLES_OF_2:
            _sum_up(db, TABLES[name])

    @migrations(name="schema 3")
    def schema_3(db: Database) -> None:
        """Refuse changes to more columns; the tables stay as they are."""

    @migrations(name="schema 4")
    def schema_4(db: Database) -> None:
        run_script(db, INDEXES_4)

    @migrations(name="schema 5")
    def schema_5(db: Database) -> None:
        drop_rules(db)
        run_script(db, TABLES_5)
        run_script(db, RULES)

    return MigrationSteps(migrations, 5)


def run_script(db: Database, script: str) -> None:
    """Run the statements of a script in the current transaction.

    executescript of sqlite3 would end the transaction. That of sqlite-utils checks after each
    character whether a statement is complete, which takes 40 ms for each new archive.
    """
    for statement in _statements(script):
        db.execute(statement)


def _statements(script: str) -> Iterator[str]:
    statement = ""
    for part in script.split(";")[:-1]:
        statement += f"{part};"
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


def drop_rules(db: Database) -> None:
    """Drop all triggers and views."""
    found = rows(db, "SELECT type, name FROM sqlite_master WHERE type IN ('trigger', 'view')")
    for each in found:
        db.execute(f'DROP {each["type"]} "{each["name"]}"')


def _note_latest(db: Database) -> None:
    """Record in each program its latest revision (see lookup.IN_ORDER) and their number."""
    db.execute(
        "UPDATE programs SET "
        "revision_count = (SELECT count(*) FROM revisions WHERE program_id = programs.id), "
        "latest_id = (SELECT id FROM revisions WHERE program_id = programs.id "
        "ORDER BY number DESC, kept_at DESC, uuid DESC LIMIT 1)"
    )


def _sum_up(db: Database, table: Table) -> None:
    """Give each row of a table its checksum, except rows that hostlink cannot have written.

    Those were damaged before there were checksums, and remain so.
    """
    last = -1
    while True:
        found = rows(
            db,
            f"SELECT {', '.join(table.summed)} FROM {table.name} WHERE {table.key} > ? "
            f"ORDER BY {table.key} LIMIT {_AT_ONCE}",
            (last,),
        )
        if not found:
            return
        last = found[-1][table.key]
        db.conn.executemany(
            f"UPDATE {table.name} SET checksum = ? WHERE {table.key} = ?",
            [
                (checksum(table, row.values()), row[table.key])
                for row in found
                if row_fits(table, row)
            ],
        )


def row_fits(table: Table, row: Row) -> bool:
    """Return whether each value that the checksum of a row covers fits its column."""
    return all(
        column.hashed
        or (
            column.fits(row[column.name])
            and (not column.folds or row[column.name] in (fold(row[column.folds]), None))
        )
        for column in table.columns
    )


STEPS = schema_steps()
