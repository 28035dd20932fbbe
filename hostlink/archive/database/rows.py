"""Rows as they are read and written: each carries a checksum, by which damage is known.

Rules:
1. Rows are written by `insert`, `update` and `replace` only; they add the checksum.
2. What was kept is read through `Records` or `checked`: a row that is not as it was written is a
   DamagedError, never a value. One damaged row does not stop the reading of the others.
3. A row also names the columns by which it was found, so a damaged index gives no wrong row.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Generic, NamedTuple, TypeVar

from sqlite_utils import Database

from hostlink.archive.database.faults import FAULTS, DamagedError, damaged, is_damage
from hostlink.archive.database.tables import TABLES, Table
from hostlink.archive.records import Listed
from hostlink.words import safe

T = TypeVar("T")
Row = Mapping[str, Any]
Values = Sequence[object] | Mapping[str, object]


# --- checksums -----------------------------------------------------------------------------------


def checksum(table: Table, values: Iterable[Any]) -> int:
    """The checksum of a row. values: those of `table.summed`, in that order.

    CRC-32 (RFC 1952, section 8) over the table's name and each value, joined by a byte 1F. A value
    is a letter for its type and then text in UTF-8 (t), a number in decimal (i), bytes (b), or
    nothing for NULL (n).
    """
    row = tuple(values)
    types = tuple(map(type, row))
    if bytes in types:
        # Each byte that is no text as a character that becomes it again below.
        row = tuple(
            each.decode("utf-8", "surrogateescape") if isinstance(each, bytes) else each
            for each in row
        )
    return zlib.crc32((_form(table.name, types) % row).encode("utf-8", "surrogateescape"))


# Only damage puts a float into a row.
_FORMS = {str: "t%s", int: "i%d", bytes: "b%s", type(None): "n%.0s", float: "f%r"}


# To fill in a form takes a third of the time of joining each value to the others.
@lru_cache(maxsize=512)
def _form(table: str, types: tuple[type, ...]) -> str:
    return "\x1f".join([table, *[_FORMS[each] for each in types]])


def is_whole(table: Table, row: Row) -> bool:
    """Whether a row has the checksum that it was written with."""
    return bool(row["checksum"] == checksum(table, [row[name] for name in table.summed]))


def is_sound(data: object, sha256: object) -> bool:
    """Whether bytes have the SHA-256 (its 32 bytes) that was recorded for them."""
    return isinstance(data, bytes) and hashlib.sha256(data).digest() == sha256


# --- plain reading -------------------------------------------------------------------------------


def rows(db: Database, sql: str, values: Values = ()) -> list[Row]:
    """All rows of a query, not checked."""
    # sqlite-utils' own query() wraps each in a savepoint; these are plain reads.
    return [dict(row) for row in db.execute(sql, values)]  # type: ignore[arg-type]


def first(db: Database, sql: str, values: Values = ()) -> Row | None:
    """The first row of a query, not checked, or None."""
    row = db.execute(sql, values).fetchone()  # type: ignore[arg-type]
    return None if row is None else dict(row)


def checked(db: Database, table: str, row_id: int) -> Row:
    """The row of a table with that id, whole. Raises DamagedError, also where it is not there."""
    which = TABLES[table]
    row = first(db, f"SELECT {which.names} FROM {table} WHERE {which.key} = ?", (row_id,))
    if row is None or not is_whole(which, row):
        raise damaged(f"Row {row_id} of {table}")
    return row


def found_by(db: Database, table: str, column: str, value: object) -> Row | None:
    """The whole row of a table with that value in a column with an index, or None.

    Raises DamagedError where the row, or the index that led to it, is damaged.
    """
    key = TABLES[table].key
    row = first(db, f"SELECT {key} AS key FROM {table} WHERE {column} = ?", (value,))
    if row is None:
        return None
    held = checked(db, table, row["key"])
    if held[column] != value:
        raise damaged(f"The index of {table}")
    return held


def damaged_rows(db: Database, table: str, ids: Iterable[int] | None = None) -> Iterator[int]:
    """The ids of rows that are not as they were written: of all, or of some."""
    which = TABLES[table]
    sql = f"SELECT {', '.join(which.summed)}, checksum FROM {table}"
    values: tuple[str, ...] = ()
    if ids is not None:
        sql += f" WHERE {which.key} IN (SELECT value FROM json_each(?))"
        values = (json.dumps(list(ids)),)
    for row in db.execute(f"{sql} ORDER BY {which.key}", values):
        if row[-1] != checksum(which, row[:-1]):
            yield row[0]


# --- writing -------------------------------------------------------------------------------------


def insert(db: Database, table: str, **values: Any) -> int:
    """Add one row to a table of ours and return its id. For use inside `writing`.

    Columns that are not named are NULL where they may be, else what the schema gives them.
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
    """Change columns of a row that may change. For use inside `writing`.

    Raises DamagedError where the row is damaged: a new checksum would hide that.
    """
    _write(db, TABLES[table], {**checked(db, table, row_id), **values}, tuple(values))


def replace(db: Database, table: str, row_id: int, values: Row) -> None:
    """Put a whole row in the place of a damaged one, also where rows are never changed."""
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
    """Take a trigger away for the block; inside a transaction, so that it cannot stay away."""
    rule = "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?"
    held = first(db, rule, (trigger,))
    if held is not None:
        db.execute(f"DROP TRIGGER {trigger}")
    yield
    if held is not None:
        db.execute(held["sql"])


# --- joined rows as records ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Part:
    """A table in a join. on: the condition of a LEFT JOIN; "" for the table that is listed.

    hashed: whether the columns with a SHA-256 of their own are read too.
    """

    name: str
    table: str
    on: str = ""
    hashed: bool = False


class Parts:
    """One row of a join, taken apart; each part is whole, absent, or damaged."""

    def __init__(
        self,
        raw: Mapping[str, Row | None],
        broken: set[str],
        what: Callable[[Mapping[str, Any]], str],
    ) -> None:
        self._raw = raw
        self._broken = broken
        self._what = what

    @property
    def what(self) -> str:
        """How a person names the record, as far as that can be told."""
        return self._what(_Shown(self._raw))

    def __getitem__(self, name: str) -> Row:
        """A part that is needed. Raises DamagedError where it is damaged or absent."""
        row = self._raw[name]
        if row is None or name in self._broken:
            raise damaged(self.what)
        return row

    def has(self, name: str) -> bool:
        """Whether a part is there at all."""
        return self._raw[name] is not None

    def unproven(self, name: str) -> Row:
        """A part that may be damaged, for what is proven in another way. Raises DamagedError."""
        row = self._raw[name]
        if row is None:
            raise damaged(self.what)
        return row

    def get(self, name: str, lost: list[str]) -> Row | None:
        """A part that may be absent, and without which the record still says most.

        Where it is damaged that is added to `lost`, as a sentence.
        """
        row = self._raw[name]
        if name not in self._broken:
            return row
        lost.append(f"What {self.what} says of its {name.replace('_', ' ')} is damaged.")
        return None


_MOST_KNOWN = 1000  # rows, so that listing a million takes no more memory


@dataclass(frozen=True)
class Records(Generic[T]):
    """A kind of record: which rows it is made of, and how.

    build: makes the record of whole parts; what it can do without and is damaged it adds to the
    list. what: how a person names the record, by columns that may themselves be damaged.
    """

    parts: tuple[Part, ...]
    build: Callable[[Parts, list[str]], T]
    what: Callable[[Mapping[str, Any]], str]
    sql: str = field(init=False)
    _columns: tuple[_Columns, ...] = field(init=False)

    def __post_init__(self) -> None:
        columns = [
            f"{part.name}.{column}"
            for part in self.parts
            for column in (
                *TABLES[part.table].summed,
                "checksum",
                *(TABLES[part.table].hashed if part.hashed else ()),
            )
        ]
        main, *others = self.parts
        joins = " ".join(f"LEFT JOIN {part.table} AS {part.name} ON {part.on}" for part in others)
        sql = f"SELECT {', '.join(columns)} FROM {main.table} AS {main.name} {joins}"
        object.__setattr__(self, "sql", sql)
        object.__setattr__(self, "_columns", tuple(_columns_of(self.parts)))

    def each(self, db: Database, rest: str = "", values: Values = ()) -> Iterator[Parts]:
        """The rows of the join. rest: what follows the joins in the SQL."""
        # One board, archive or program stands beside many records, and is checked once.
        known: dict[tuple[str, object], tuple[Row, bool]] = {}
        for row in db.execute(f"{self.sql} {rest}", values):  # type: ignore[arg-type]
            yield self._taken_apart(tuple(row), known)

    def listed(self, db: Database, rest: str = "", values: Values = ()) -> Listed[T]:
        """The records of all rows that are whole, and what is damaged, in words."""
        found, lost = list[T](), list[str]()
        try:
            for parts in self.each(db, rest, values):
                try:
                    found.append(self.build(parts, lost))
                except DamagedError as error:
                    lost.append(error.what)
        except FAULTS as error:
            if not is_damage(error):
                raise
            lost.append(f"The file is damaged, and more is lost: {safe(str(error))}.")
        return Listed(found, lost)

    def first(self, db: Database, rest: str, values: Values = ()) -> T | None:
        """The record of the first row, or None. Raises DamagedError."""
        parts = next(self.each(db, f"{rest} LIMIT 1", values), None)
        return None if parts is None else self.build(parts, [])

    def by_id(self, db: Database, ids: Sequence[int]) -> tuple[dict[int, T], list[str]]:
        """The records of those rows by id, and what of them is damaged, in words."""
        main, key = self.parts[0].name, TABLES[self.parts[0].table].key
        with_id = Records(
            self.parts,
            lambda parts, lost: (int(parts[main][key]), self.build(parts, lost)),
            self.what,
        )
        found = with_id.listed(
            db, f"WHERE {main}.{key} IN (SELECT value FROM json_each(?))", (json.dumps(ids),)
        )
        return dict(found), list(found.damaged)

    def at(self, db: Database, row_id: int) -> T:
        """The record of the row with that id. Raises DamagedError, also where it is not there."""
        main = self.parts[0]
        record = self.first(db, f"WHERE {main.name}.{TABLES[main.table].key} = ?", (row_id,))
        if record is None:
            raise damaged(f"Row {row_id} of {main.table}")
        return record

    def _taken_apart(
        self, row: tuple[Any, ...], known: dict[tuple[str, object], tuple[Row, bool]]
    ) -> Parts:
        raw, broken = dict[str, Row | None](), set[str]()
        for name, table, start, end, hashed in self._columns:
            if row[start] is None:
                raw[name] = None
                continue
            key = table.name, row[start]
            held = known.get(key)
            if held is None or hashed:
                if len(known) >= _MOST_KNOWN:
                    known.clear()
                values = row[start:end]
                columns = dict(zip(table.summed, values, strict=True))
                columns.update(zip(hashed, row[end + 1 : end + 1 + len(hashed)], strict=True))
                held = known[key] = columns, row[end] == checksum(table, values)
            raw[name] = held[0]
            if not held[1]:
                broken.add(name)
        return Parts(raw, broken, self.what)


class _Columns(NamedTuple):
    """Where the columns of a part stand in a row of the join: start to end, then the checksum."""

    name: str
    table: Table
    start: int
    end: int
    hashed: tuple[str, ...]


def _columns_of(parts: Iterable[Part]) -> Iterator[_Columns]:
    start = 0
    for part in parts:
        table = TABLES[part.table]
        end = start + len(table.summed)
        hashed = tuple(table.hashed) if part.hashed else ()
        yield _Columns(part.name, table, start, end, hashed)
        start = end + 1 + len(hashed)


class _Shown(dict[str, Any]):
    """The columns of the parts as "part.column"; a "?" for what is not there."""

    def __init__(self, raw: Mapping[str, Row | None]) -> None:
        for name, row in raw.items():
            super().update({f"{name}.{column}": value for column, value in (row or {}).items()})

    def __missing__(self, key: str) -> str:
        return "?"
