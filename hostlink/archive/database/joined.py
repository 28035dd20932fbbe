"""Read rows of several joined tables as records; damage to one does not hide the others."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, NamedTuple, TypeVar

from sqlite_utils import Database

from hostlink.archive.database.checksums import checksum
from hostlink.archive.database.database_errors import FAULTS, DamagedError, damaged, is_damage
from hostlink.archive.database.rows import Row, Values, id_list
from hostlink.archive.database.tables import TABLES, Table
from hostlink.archive.records import Listed
from hostlink.words import safe

T = TypeVar("T")
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Part:
    """A table in a join. on: the condition of a LEFT JOIN, "" for the main table.

    hashed: also read the columns that have a SHA-256 of their own.
    """

    name: str
    table: str
    on: str = ""
    hashed: bool = False


class Parts:
    """One row of a join by parts; each part is undamaged, absent or damaged."""

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
        """Return the name of the record for people, as far as it can be read."""
        return self._what(_Shown(self._raw))

    def __getitem__(self, name: str) -> Row:
        """Return a required part. Raises DamagedError if it is damaged or absent."""
        row = self._raw[name]
        if row is None or name in self._broken:
            raise damaged(self.what)
        return row

    def has(self, name: str) -> bool:
        """Return whether a part is present."""
        return self._raw[name] is not None

    def unproven(self, name: str) -> Row:
        """Return a part unchecked, for a caller that checks it. Raises DamagedError if absent."""
        row = self._raw[name]
        if row is None:
            raise damaged(self.what)
        return row

    def get(self, name: str, lost: list[str]) -> Row | None:
        """Return an optional part, or None.

        If it is damaged, a sentence about that is added to `lost`.
        """
        row = self._raw[name]
        if name not in self._broken:
            return row
        lost.append(f"{self.what}: the record of its {name.replace('_', ' ')} is damaged.")
        return None


_MOST_KNOWN = 1000  # cached rows, so that memory stays bounded for a million
Known = dict[tuple[str, object], tuple[Row, bool]]
"""Rows by table and row id, and whether each is undamaged: many records refer to the same board,
archive or program, which is checked once. Valid within one transaction."""


@dataclass(frozen=True)
class Records(Generic[T]):
    """A kind of record: the tables it is joined from, and how to build it.

    build: makes a record from its parts, and adds sentences on damaged optional parts to the list.
    what: the name of a record for people, from columns that may be damaged.
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

    def each(
        self, db: Database, rest: str = "", values: Values = (), known: Known | None = None
    ) -> Iterator[Parts]:
        """Yield the rows of the join. rest: the SQL after the joins. known: rows checked before."""
        known = {} if known is None else known
        found = db.execute(f"{self.sql} {rest}", values)  # type: ignore[arg-type]
        found.row_factory = None  # plain tuples
        for row in found:
            yield self._taken_apart(row, known)

    def listed(
        self, db: Database, rest: str = "", values: Values = (), known: Known | None = None
    ) -> Listed[T]:
        """Return the records of all undamaged rows, and sentences on what is damaged."""
        return self._listed(db, self.build, rest, values, known)

    def _listed(
        self,
        db: Database,
        build: Callable[[Parts, list[str]], R],
        rest: str,
        values: Values,
        known: Known | None,
    ) -> Listed[R]:
        found, lost = list[R](), list[str]()
        try:
            for parts in self.each(db, rest, values, known):
                try:
                    found.append(build(parts, lost))
                except DamagedError as error:
                    lost.append(error.what)
        except FAULTS as error:
            if not is_damage(error):
                raise
            lost.append(f"The file is damaged, and the rest cannot be read: {safe(str(error))}.")
        return Listed(found, lost)

    def first(self, db: Database, rest: str, values: Values = ()) -> T | None:
        """Return the record of the first row, or None. Raises DamagedError."""
        parts = next(self.each(db, f"{rest} LIMIT 1", values), None)
        return None if parts is None else self.build(parts, [])

    def by_id(
        self, db: Database, ids: Sequence[int], known: Known | None = None
    ) -> tuple[dict[int, T], list[str]]:
        """Return the records of some rows by row id, and sentences on what is damaged."""
        main, key = self.parts[0].name, TABLES[self.parts[0].table].key
        found = self._listed(
            db,
            lambda parts, lost: (int(parts[main][key]), self.build(parts, lost)),
            f"WHERE {main}.{key} IN (SELECT value FROM json_each(?))",
            (id_list(ids),),
            known,
        )
        return dict(found), list(found.damaged)

    def at(self, db: Database, row_id: int) -> T:
        """Return the record of a row. Raises DamagedError, also if the row is missing."""
        main = self.parts[0]
        record = self.first(db, f"WHERE {main.name}.{TABLES[main.table].key} = ?", (row_id,))
        if record is None:
            raise damaged(f"Row {row_id} of {main.table}")
        return record

    def _taken_apart(self, row: tuple[Any, ...], known: Known) -> Parts:
        raw, broken = dict[str, Row | None](), set[str]()
        main = self.parts[0].name
        for name, table, start, end, hashed in self._columns:
            row_id = row[start]
            if row_id is None:
                raw[name] = None
                continue
            key = table.name, row_id
            # A damaged file may have the id of a main row twice, once for another row.
            held = None if name == main else known.get(key)
            if held is None or hashed:
                if len(known) >= _MOST_KNOWN:
                    known.clear()
                values = row[start:end]
                columns = dict(zip(table.summed, values, strict=True))
                if hashed:
                    columns.update(zip(hashed, row[end + 1 : end + 1 + len(hashed)], strict=True))
                held = known[key] = columns, row[end] == checksum(table, values)
            raw[name], whole = held
            if not whole:
                broken.add(name)
        return Parts(raw, broken, self.what)


class _Columns(NamedTuple):
    """The place of a part in a row of the join: columns start to end, then the checksum."""

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
    """The columns of the parts as "part.column", with "?" for missing ones."""

    def __init__(self, raw: Mapping[str, Row | None]) -> None:
        for name, row in raw.items():
            super().update({f"{name}.{column}": value for column, value in (row or {}).items()})

    def __missing__(self, key: str) -> str:
        return "?"
