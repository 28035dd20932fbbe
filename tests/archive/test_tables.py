"""The one description of all tables, and the checksum that every row carries."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.database.checksums import checksum
from hostlink.archive.database.rows import damaged_rows
from hostlink.archive.database.tables import CARRIED, TABLES, Column

MakeContent = Callable[..., Content]
SQL_KINDS = {"bytes": "BLOB", "number": "INTEGER", "flag": "INTEGER"}


def test_the_description_is_that_of_the_file(path: Path) -> None:
    """Names, order, types, references, and what may be NULL are those of the tables themselves."""
    Archive.open(path).close()
    conn = sqlite3.connect(path)
    strict = "SELECT name FROM pragma_table_list WHERE strict"
    assert {name for (name,) in conn.execute(strict)} == set(TABLES)
    for table in TABLES.values():
        held = conn.execute(f"PRAGMA table_info({table.name})").fetchall()
        (key,) = [row[1] for row in held if row[5]]
        assert table.key == key
        others = [row for row in held if row[1] not in (key, "checksum")]
        assert [row[1] for row in others] == [column.name for column in table.columns]
        refers = {row[3]: row[2] for row in conn.execute(f"PRAGMA foreign_key_list({table.name})")}
        refers.pop("latest_id", None)  # what the archive says of itself, not where it came from
        if table.name == "host_copies":
            assert refers.pop("board_id") == "boards"  # the key
        for (_, name, kind, must, *_), column in zip(others, table.columns, strict=True):
            assert kind == SQL_KINDS.get(column.kind, "TEXT"), (table.name, name)
            assert bool(must) != column.optional, (table.name, name)
            assert refers.pop(name, "") == column.refers, (table.name, name)
        assert refers == {}
    conn.close()


def test_references_point_back() -> None:
    """A table that is carried comes after those it refers to, or refers to itself."""
    seen: list[str] = ["listings"]
    for table in CARRIED:
        seen.append(table.name)
        assert all(column.refers in seen for column in table.columns if column.refers)


def test_the_checksum_can_be_worked_out_with_any_tool() -> None:
    """As DEVELOPERS.md says it: CRC-32 over the table's name and the values, joined by 1F."""
    row = [3, "u", 7, "é", "2031-09-03T18:30:00.000Z", None, None, 2]
    table = TABLES["programs"]
    told = b"\x1f".join(
        [b"programs", b"i3", b"tu", b"i7", "té".encode(), b"t2031-09-03T18:30:00.000Z", b"n", b"n",
         b"i2"]
    )  # fmt: skip
    assert checksum(table, row) == zlib.crc32(told)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (("ab", "c"), ("a", "bc")),
        ((1, "x"), ("1", "x")),
        ((None, ""), ("", None)),
        ((b"a", 0), ("a", 0)),
        ((-1, 0), (1, 0)),
    ],
)
def test_the_checksum_tells_values_and_types_apart(
    before: tuple[object, object], after: tuple[object, object]
) -> None:
    """A bit in a row's header moves bytes from one column to the next, or makes a text a number."""
    table = TABLES["tags"]
    assert checksum(table, before) != checksum(table, after)


def test_every_way_to_write_gives_a_row_its_checksum(path: Path, content: MakeContent) -> None:
    """Whatever was inserted or changed, by whichever method, no row is damaged."""
    with Archive.open(path) as archive:
        board = archive.board_seen(serial="S1", profile="practice")
        archive.board_label(board.uuid, "Red")
        archive.board_seen(serial="S1", location="usb 2", restarts_on_open=True)
        archive.set_board_role(board.uuid, "computer")
        for text in ("10 A\n", "10 B\n"):
            kept = archive.keep("TIDE", content(text), Origin("file"), title=text)
        archive.retire("TIDE")
        archive.bring_back("TIDE")
        archive.set_host_copy(board.uuid, content("10 A\n"), proven=True, revision=kept.revision)
        archive.set_host_copy(board.uuid, content("10 B\n"), proven=False)
        image = archive.keep_image(b"\x01")
        write = archive.begin_write(board.uuid, image, previous=image, role="computer", part="p")
        archive.end_write(write, "done", "READY")
        with archive.event("load") as event:
            event.revision = kept.revision
        archive.tag("TIDE", "a", "b")
        archive.untag("TIDE", "a")
        archive.note("TIDE@1", "x")
        with archive.reading("all rows") as db:
            assert not [row for table in TABLES for row in damaged_rows(db, table)]


@pytest.mark.parametrize(
    ("kind", "right", "wrong"),
    [
        ("text", ["", "é"], ["\udcff", 1, b"x", None]),
        ("number", [0, -1, 1 << 61], [True, 1.0, "1", 1 << 62, None]),
        ("flag", [0, 1], [2, True, "0", None]),
        ("time", ["2031-09-03T18:30:00.000Z", "9999-12-31T23:59:59.999Z",
                  "0001-01-01T00:00:00.000Z"],
         ["2031-09-03", "2031-09-03T18:30:00Z", "2031-09-03T18:30:00.000+00:00", "", None]),
        ("uuid", ["12345678-1234-4234-8234-123456789abc"],
         ["12345678-1234-4234-8234-123456789ABC", "x", "", None]),
        ("json", ["{}", '{"a": 1}'], ["[]", "", "{", "1", None]),
        ("bytes", [b""], ["", None]),
    ],
)  # fmt: skip
def test_a_value_fits_its_kind(kind: str, right: list[object], wrong: list[object]) -> None:
    """What comes from elsewhere, or was written before there were checksums, is held to this."""
    column = Column("x", kind)  # type: ignore[arg-type]
    assert all(column.fits(value) for value in right)
    assert not any(column.fits(value) for value in wrong)
    assert Column("x", kind, optional=True).fits(None)  # type: ignore[arg-type]
