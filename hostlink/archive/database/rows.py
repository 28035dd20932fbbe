"""Read and write single rows; each carries a checksum that shows damage.

Rules:
1. Rows are written by `insert`, `update` and `replace` only; they add the checksum.
2. Stored data is read by `checked_row`, `found_by` or `Records` (joined.py): a damaged row raises
   DamagedError and never returns a value.
3. `found_by` compares the column it searched with the row it found, so that a damaged index cannot
   return the wrong row.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlite_utils import Database

from hostlink.archive.database.checksums import checksum, is_whole
from hostlink.archive.database.database_errors import damaged
from hostlink.archive.database.tables import TABLES, Table

Row = Mapping[str, Any]
Values = Sequence[object] | Mapping[str, object]


# --- plain reading -------------------------------------------------------------------------------


def rows(db: Database, sql: str, values: Values = ()) -> list[Row]:
    """Return all rows of a query, unchecked."""
    # sqlite-utils' own query() wraps each in a savepoint; these are plain reads.
    return [dict(row) for row in db.execute(sql, values)]  # type: ignore[arg-type]


def first(db: Database, sql: str, values: Values = ()) -> Row | None:
    """Return the first row of a query, unchecked, or None."""
    row = db.execute(sql, values).fetchone()  # type: ignore[arg-type]
    return None if row is None else dict(row)


def id_list(ids: Iterable[object]) -> str:
    """Return row ids as JSON, for `json_each`. Raises DamagedError if one is not a number."""
    held = list(ids)
    if not all(isinstance(each, int) for each in held):
        raise damaged("A row that refers to another one")
    return json.dumps(held)


def checked_row(db: Database, table: str, row_id: int) -> Row:
    """Return a row of a table by its id, checked. Raises DamagedError, also if it is missing."""
    which = TABLES[table]
    row = first(db, f"SELECT {which.names} FROM {table} WHERE {which.key} = ?", (row_id,))
    if row is None or not is_whole(which, row):
        raise damaged(f"Row {row_id} of {table}")
    return row


def found_by(db: Database, table: str, column: str, value: object) -> Row | None:
    """Return the row with a value in an indexed column, checked, or None.

    Raises DamagedError if the row, or the index that led to it, is damaged.
    """
    key = TABLES[table].key
    row = first(db, f"SELECT {key} AS key FROM {table} WHERE {column} = ?", (value,))
    if row is None:
        return None
    held = checked_row(db, table, row["key"])
    if held[column] != value:
        raise damaged(f"The index of {table}")
    return held


def damaged_rows(db: Database, table: str, ids: Iterable[int] | None = None) -> Iterator[int]:
    """Yield the ids of damaged rows. ids: the rows to check, None for all."""
    which = TABLES[table]
    sql = f"SELECT {', '.join(which.summed)}, checksum FROM {table}"
    values: tuple[str, ...] = ()
    if ids is not None:
        sql += f" WHERE {which.key} IN (SELECT value FROM json_each(?))"
        values = (id_list(ids),)
    for row in db.execute(f"{sql} ORDER BY {which.key}", values):
        if row[-1] != checksum(which, row[:-1]):
            yield row[0]


# --- writing -------------------------------------------------------------------------------------


def insert(db: Database, table: str, **values: Any) -> int:
    """Insert one row, inside `writing`, and return its id.

    Columns without a value are NULL if optional, else the default of the schema.
    """
    which = TABLES[table]
    row = dict(values)
    if which.key not in row:
        newest = db.execute(f"SELECT coalesce(max({which.key}), 0) + 1 FROM {table}")
        row[which.key] = newest.fetchone()[0]
    for column in which.columns:
        row.setdefault(column.name, None if column.optional else _DEFAULTS.get(column.kind, ""))
    row["checksum"] = checksum(which, [row[name] for name in which.summed])
    marks = ", ".join("?" * len(row))
    db.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})", list(row.values()))
    return int(row[which.key])


_DEFAULTS: Mapping[str, object] = {"number": 0, "flag": 0, "json": "{}"}


def update(db: Database, table: str, row_id: int, **values: Any) -> None:
    """Change columns of a row, inside `writing`.

    Raises DamagedError if the row is damaged, because a new checksum would hide that.
    """
    _write(db, TABLES[table], {**checked_row(db, table, row_id), **values}, tuple(values))


def replace(db: Database, table: str, row_id: int, values: Row) -> None:
    """Change a row, damaged or not, and renew its checksum, even in a table that never changes."""
    which = TABLES[table]
    held = first(db, f"SELECT {which.names} FROM {table} WHERE {which.key} = ?", (row_id,))
    with _rule_lifted(db, f"{table}_never_change"):
        _write(db, which, {**(held or {}), **values, which.key: row_id}, tuple(values))


def _write(db: Database, table: Table, row: Row, changed: Sequence[str]) -> None:
    columns = {name: row[name] for name in changed}
    columns["checksum"] = checksum(table, [row[name] for name in table.summed])
    names = ", ".join(f"{name} = ?" for name in columns)
    sql = f"UPDATE {table.name} SET {names} WHERE {table.key} = ?"
    db.execute(sql, [*columns.values(), row[table.key]])


@contextmanager
def _rule_lifted(db: Database, trigger: str) -> Iterator[None]:
    """Drop a trigger for the block; the transaction ensures that it comes back."""
    rule = "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?"
    held = first(db, rule, (trigger,))
    if held is not None:
        db.execute(f"DROP TRIGGER {trigger}")
    yield
    if held is not None:
        db.execute(held["sql"])
