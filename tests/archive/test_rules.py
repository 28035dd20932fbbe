"""What the file itself refuses, tried with the plain sqlite3 module, as another tool would."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import soak_damage

from hostlink.archive import Archive
from hostlink.archive.database.tables import TABLES

LOSSLESS = [name for name in TABLES if name not in ("tags", "host_copies")]
FINISHED = ("events", "firmware_writes")


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The bytes of an archive with one of everything."""
    return soak_damage.sound_file(tmp_path_factory.mktemp("sound") / "archive.sqlite3")


@pytest.fixture
def conn(sound: bytes, tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """That archive in another tool's hands: foreign keys and recursive triggers off, as usual."""
    path = tmp_path / "archive.sqlite3"
    path.write_bytes(sound)
    conn = sqlite3.connect(path)
    assert conn.execute("PRAGMA recursive_triggers").fetchone()[0] == 0
    yield conn
    conn.rollback()
    conn.close()
    with Archive.open(path) as archive:
        assert archive.prove().findings == ()  # whatever was tried, all is as it was


def _row(conn: sqlite3.Connection, table: str) -> dict[str, object]:
    cursor = conn.execute(f"SELECT * FROM {table} ORDER BY id LIMIT 1")
    names = [each[0] for each in cursor.description]
    return dict(zip(names, cursor.fetchone(), strict=True))


def _replace(conn: sqlite3.Connection, how: str, table: str, row: dict[str, object]) -> None:
    marks = ", ".join("?" * len(row))
    conn.execute(f"{how} INTO {table} ({', '.join(row)}) VALUES ({marks})", list(row.values()))


@pytest.mark.one_in(4)
@pytest.mark.parametrize("table", LOSSLESS)
@pytest.mark.parametrize("how", ["INSERT OR REPLACE", "REPLACE", "INSERT OR IGNORE", "INSERT"])
def test_no_row_is_replaced_by_its_id(conn: sqlite3.Connection, table: str, how: str) -> None:
    """Not even by one that differs in one value: a finished event was rewritten so once."""
    with pytest.raises(sqlite3.IntegrityError, match="are never replaced"):
        _replace(conn, how, table, {**_row(conn, table), "checksum": 0})


@pytest.mark.parametrize(
    ("table", "keys"),
    [
        *((name, ("uuid",)) for name in LOSSLESS if TABLES[name].has_uuid),
        ("programs", ("name_key",)),
        ("boards", ("label_key",)),
        ("boards", ("usb_vid", "usb_pid", "usb_serial")),
        ("revisions", ("program_id", "archive_id", "number")),
        ("rescues", ("archive_id", "number")),
        ("backups", ("archive_id", "number")),
        ("runs", ("archive_id", "number")),
        ("backup_items", ("backup_id", "kind", "slot")),
        ("firmware_images", ("sha256",)),
    ],
)
def test_no_row_is_replaced_by_another_key(
    conn: sqlite3.Connection, table: str, keys: tuple[str, ...]
) -> None:
    """A new row with a key that is taken would take the old one's place."""
    held = _row(conn, table)
    new = {**held, "id": 99, "uuid": "new", "number": 99, "name_key": "new", "label_key": "new",
           "usb_serial": "new", "slot": "new", "sha256": bytes(32)}  # fmt: skip
    new = {name: new[name] for name in held} | {name: held[name] for name in keys}
    with pytest.raises(sqlite3.IntegrityError, match="are never replaced"):
        _replace(conn, "INSERT OR REPLACE", table, new)


@pytest.mark.parametrize("table", LOSSLESS)
def test_nothing_is_deleted(conn: sqlite3.Connection, table: str) -> None:
    """No row of these tables, by any tool."""
    with pytest.raises(sqlite3.IntegrityError, match="are never deleted"):
        conn.execute(f"DELETE FROM {table}")


@pytest.mark.one_in(4)
@pytest.mark.parametrize(
    ("table", "column"),
    [
        (name, column)
        for name in LOSSLESS
        for column in ("id", *(each.name for each in TABLES[name].columns), "checksum")
        if column in ("id", *TABLES[name].fixed) or not TABLES[name].changing
    ],
)
def test_what_was_kept_and_every_identity_stay_as_they_are(
    conn: sqlite3.Connection, table: str, column: str
) -> None:
    """No column of what is immutable; of the others what they are known by, and how they began: the
    name of a program, when a board was first seen, what job an event is of."""
    value = {"BLOB": "zeroblob(32)", "INTEGER": "77"}.get(
        dict(conn.execute(f"SELECT name, type FROM pragma_table_info('{table}')"))[column], "'x'"
    )
    with pytest.raises(sqlite3.IntegrityError, match="are never changed"):
        conn.execute(f"UPDATE OR REPLACE {table} SET {column} = {value} WHERE id = 1")


@pytest.mark.parametrize("table", FINISHED)
def test_what_has_ended_is_not_changed(conn: sqlite3.Connection, table: str) -> None:
    """The outcome of a finished job or write is history."""
    (row_id,) = conn.execute(f"SELECT id FROM {table} WHERE ended_at IS NOT NULL").fetchone()
    for column in ("outcome", "ended_at", "board_id"):
        with pytest.raises(sqlite3.IntegrityError, match="are never changed"):
            conn.execute(f"UPDATE {table} SET {column} = NULL WHERE id = ?", (row_id,))


@pytest.mark.parametrize(
    ("statement", "refused"),
    [
        ("programs SET name_key = 'ebb' WHERE name_key = 'tide'", "changed"),
        ("boards SET usb_serial = 'S1', usb_vid = 1, usb_pid = 2 WHERE id = 2", "replaced"),
        ("boards SET label_key = 'red' WHERE id = 2", "replaced"),
        ("boards SET location = 'usb 3' WHERE id = 4", "replaced"),
    ],
)
def test_a_change_never_takes_the_place_of_another_row(
    conn: sqlite3.Connection, statement: str, refused: str
) -> None:
    """UPDATE OR REPLACE deletes whatever has the new key; a board without a serial number is known
    by its place."""
    board = _row(conn, "boards")
    for at, serial in ((2, "S2"), (3, ""), (4, "")):
        other = {"id": at, "uuid": f"u{at}", "usb_serial": serial, "location": f"usb {at}"}
        _replace(conn, "INSERT", "boards", {**board, "label_key": None, **other})
    with pytest.raises(sqlite3.IntegrityError, match=f"are never {refused}"):
        conn.execute(f"UPDATE OR REPLACE {statement}")


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("DROP TRIGGER events_never_change", "trigger events_never_change is missing"),
        (
            "DROP TRIGGER boards_never_change; CREATE TRIGGER boards_never_change "
            "BEFORE UPDATE ON boards WHEN 0 BEGIN SELECT 1; END",
            "trigger boards_never_change has been changed",
        ),
        (
            "CREATE TRIGGER quietly AFTER INSERT ON revisions BEGIN SELECT 1; END",
            "trigger quietly does not belong to an archive",
        ),
    ],
)
def test_rules_that_were_taken_away_or_changed_are_found(
    sound: bytes, tmp_path: Path, statement: str, said: str
) -> None:
    """Prove compares them with those of a new archive; a rebuild puts them right."""
    path = _changed(sound, tmp_path, statement)
    with Archive.open(path) as archive:
        (finding,) = archive.prove().findings
        assert said in finding and "it can be rebuilt" in finding
        archive.rebuild()
        assert archive.prove().findings == ()


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE host_copies SET text = 'x'", "host copy"),
        ("UPDATE boards SET label = 'Pink', label_key = 'pink'", "boards"),
        ("UPDATE programs SET title = 'x'", "programs"),
        ("REPLACE INTO tags SELECT id, program_id, 'x', tag_key, checksum FROM tags", "tags"),
    ],
)
def test_another_tool_that_writes_what_may_change_is_found(
    sound: bytes, tmp_path: Path, statement: str, said: str
) -> None:
    """These rows are changed by hostlink too, so nothing refuses it; the row's checksum tells."""
    path = _changed(sound, tmp_path, statement)
    with Archive.open(path) as archive:
        assert any(said in finding for finding in archive.prove().findings)


def test_what_may_change_can_be_changed(sound: bytes, tmp_path: Path) -> None:
    """The rules let through all that the archive itself does."""
    path = tmp_path / "archive.sqlite3"
    path.write_bytes(sound)
    make: list[Callable[[Archive], object]] = [
        lambda it: it.board_label(it.board("Red").uuid, "Green"),
        lambda it: it.board_seen(vid=1, pid=2, serial="S1", location="usb 7"),
        lambda it: it.retire("TIDE"),
        lambda it: it.bring_back("TIDE"),
        lambda it: it.end_event(it.begin_event("load"), "done"),
    ]
    with Archive.open(path) as archive:
        for change in make:
            change(archive)
        assert archive.prove().findings == ()


def _changed(sound: bytes, folder: Path, statement: str) -> Path:
    """An archive on which another tool has run a statement."""
    path = folder / "archive.sqlite3"
    path.write_bytes(sound)
    other = sqlite3.connect(path)
    other.executescript(statement)
    other.close()
    return path
