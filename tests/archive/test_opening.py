"""What is opened, what is refused, and migrations."""

from __future__ import annotations

import gzip
import sqlite3
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlite_utils import Database, Migrations

from hostlink.archive import Archive, Content, Origin, opening
from hostlink.archive.opening import APPLICATION_ID, STEPS, Steps, open_file
from hostlink.archive.schema import SCHEMA_1
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
OLDEST = Path(__file__).parent / "files" / "schema-1.sqlite3.gz"


def at_six() -> datetime:
    """A clock that stands still."""
    return datetime(2031, 9, 3, 18, 0, tzinfo=UTC)


@pytest.fixture
def oldest(tmp_path: Path) -> Path:
    """A copy of the oldest archive file there is."""
    path = tmp_path / "old.sqlite3"
    path.write_bytes(gzip.decompress(OLDEST.read_bytes()))
    return path


def test_a_new_archive_is_marked_and_safe(archive: Archive, path: Path) -> None:
    """Application id, schema number, WAL, full synchronous and foreign keys are set."""
    conn = sqlite3.connect(path)
    assert conn.execute("PRAGMA application_id").fetchone()[0] == int.from_bytes(b"hlnk", "big")
    assert conn.execute("PRAGMA user_version").fetchone()[0] == 1
    assert conn.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert conn.execute("PRAGMA page_size").fetchone()[0] == 8192
    conn.close()
    with archive.reading("x") as db:
        assert db.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
        assert db.execute("PRAGMA foreign_keys").fetchone()[0] == 1
        assert db.execute("PRAGMA busy_timeout").fetchone()[0] == 5000


def test_writing_needs_the_file_and_its_folder(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite writes its log beside the file: where either is shut, the archive opens to be read."""
    Archive.open(path).close()
    for shut in (path, path.parent):
        monkeypatch.setattr(opening.os, "access", lambda asked, _, shut=shut: Path(asked) != shut)
        with Archive.open(path) as archive:
            assert archive.read_only
            assert archive.programs() == []
    monkeypatch.undo()
    with Archive.open(path) as archive:
        assert not archive.read_only


def test_the_name_of_a_new_archive_is_on_the_disk_too(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its folder is flushed once, when the file is made."""
    flushed: list[Path] = []
    monkeypatch.setattr(opening, "flush_folder", flushed.append)
    for _ in range(2):
        Archive.open(path).close()
    assert flushed == [path.parent]


def test_every_table_of_ours_is_strict(archive: Archive) -> None:
    """Wrong types are refused by every table."""
    with archive.reading("x") as db:
        loose = [
            row["name"]
            for row in db.execute("SELECT name, strict, type FROM pragma_table_list")
            if row["type"] == "table"
            and not row["strict"]
            and not row["name"].startswith("sqlite_")
        ]
    assert loose == ["_sqlite_migrations"]  # the migration library's own record


def test_an_archive_keeps_its_identity(path: Path) -> None:
    """The UUID is made once."""
    with Archive.open(path) as first:
        uuid = first.uuid
    with Archive.open(path) as again:
        assert again.uuid == uuid
        assert len(uuid) == 36


def test_the_oldest_file_kept_opens_with_all_it_holds(oldest: Path) -> None:
    """A schema 1 file written earlier opens, is proven clean, and gives everything back."""
    with Archive.open(oldest) as archive:
        assert archive.prove().findings == ()
        assert [program.name for program in archive.programs(retired=None)] == ["DICE", "TIDE"]
        tide = archive.history("tide")
        assert [one.number for one in tide] == [1, 2, 3]
        assert tide[2].parent == "TIDE@1"
        assert archive.content(tide[0]).raw == b'10 PRINT "EBB"\r\n20 GOSUB900\r\n900 RETURN\r\n'
        assert archive.program("TIDE").note == "Runs four minutes slow."
        assert archive.program("DICE").retired
        board = archive.board("red")
        rescue = archive.newest_rescue(board.uuid)
        assert rescue is not None and archive.content(rescue).text == "10 REM LOST\n"
        copy = archive.host_copy(board.uuid)
        assert copy is not None and copy.revision == "TIDE@3"
        assert archive.find("gosub 900")[0].item.spec == "TIDE@3"
        assert [event.job for event in archive.events()] == ["retire", "load", "rescue"]
        archive.keep(
            "TIDE", Content(b"10 END\n", "10 END\n", "10 END\n", "p", "latin-1"), Origin("edit")
        )


def _schema_2(fails: bool = False) -> Steps:
    """The migrations with one more, as a later version would have it."""
    migrations = Migrations("hostlink")

    @migrations(name="schema 1")
    def schema_1(db: Database) -> None:
        db.executescript(SCHEMA_1)

    @migrations(name="schema 2")
    def schema_2(db: Database) -> None:
        db.execute("CREATE TABLE classes (id INTEGER PRIMARY KEY, day TEXT NOT NULL) STRICT")
        if fails:
            db.execute("CREATE TABLE classes (id INTEGER PRIMARY KEY) STRICT")

    return Steps(migrations, 2)


def _version(path: Path) -> int:
    conn = sqlite3.connect(path)
    version = int(conn.execute("PRAGMA user_version").fetchone()[0])
    conn.close()
    return version


def test_an_older_file_is_copied_before_it_is_migrated(
    oldest: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file as it was stands beside it, complete, its name on the disk too before anything is
    changed; the file itself has the new schema."""
    flushed: list[tuple[Path, int]] = []
    monkeypatch.setattr(
        opening, "flush_folder", lambda folder: flushed.append((folder, _version(oldest)))
    )
    open_file(oldest, create=False, read_only=False, now=at_six, steps=_schema_2())
    copy = oldest.with_name("old.schema-1.sqlite3")
    assert (_version(oldest), _version(copy)) == (2, 1)
    with Archive.open(copy) as archive:
        assert archive.prove().clean
        assert len(archive.history("TIDE")) == 3
    conn = sqlite3.connect(oldest)
    assert conn.execute("SELECT count(*) FROM revisions").fetchone()[0] == 4
    assert conn.execute("SELECT count(*) FROM classes").fetchone()[0] == 0
    conn.close()
    open_file(oldest, create=False, read_only=False, now=at_six, steps=_schema_2())
    assert len(list(oldest.parent.glob("*.schema-1*"))) == 1
    assert flushed == [(oldest.parent, 1)]


def test_a_failed_migration_leaves_the_file_as_it_was(oldest: Path) -> None:
    """Nothing of a migration that breaks off stays, and the next copy gets another name."""
    for _ in range(2):
        with pytest.raises(ArchiveError, match="already exists"):
            open_file(
                oldest, create=False, read_only=False, now=at_six, steps=_schema_2(fails=True)
            )
    assert _version(oldest) == 1
    assert oldest.with_name("old.schema-1-2.sqlite3").exists()
    with Archive.open(oldest) as archive:
        assert archive.prove().clean


def test_an_older_file_that_cannot_be_written_is_not_migrated(oldest: Path) -> None:
    """Read-only and old together is refused with the way out."""
    with pytest.raises(ArchiveError, match="can only be read"):
        open_file(oldest, create=False, read_only=True, now=at_six, steps=_schema_2())
    assert _version(oldest) == 1


def test_a_newer_file_is_refused_untouched(path: Path) -> None:
    """A schema this version does not know is left alone, with one clear sentence."""
    Archive.open(path).close()
    conn = sqlite3.connect(path)
    conn.execute("PRAGMA user_version = 7")
    conn.close()
    before = path.read_bytes()
    with pytest.raises(
        ArchiveError, match=r"newer hostlink \(schema 7; this one knows schemas up to 1"
    ) as refused:
        Archive.open(path)
    assert (refused.value.kept, refused.value.advice) == ("It was not touched.", "Update hostlink.")
    assert path.read_bytes() == before


def test_what_is_no_sqlite_file_is_refused_untouched(path: Path) -> None:
    """Somebody's text file is not opened, not changed, and gets no file beside it."""
    path.parent.mkdir()
    path.write_text("10 PRINT 1\n")
    with pytest.raises(ArchiveError, match="no SQLite file"):
        Archive.open(path)
    assert path.read_text() == "10 PRINT 1\n"
    assert list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("create", [True, False])
def test_another_programs_sqlite_file_is_refused_untouched(path: Path, create: bool) -> None:
    """An SQLite file that is not marked as ours is left alone."""
    path.parent.mkdir()
    conn = sqlite3.connect(path)
    conn.execute("CREATE TABLE accounts (id INTEGER)")
    conn.close()
    before = path.read_bytes()
    with pytest.raises(ArchiveError, match="not an archive of hostlink"):
        Archive.open(path, create=create)
    assert path.read_bytes() == before


def test_a_damaged_file_says_so(path: Path) -> None:
    """A file with a good header and rubbish behind it is one clear error."""
    path.parent.mkdir()
    path.write_bytes(b"SQLite format 3\0" + bytes(range(256)) * 40)
    with pytest.raises(ArchiveError, match="damaged"):
        Archive.open(path)


def test_a_missing_file_is_made_only_where_that_is_wanted(path: Path) -> None:
    """Reading commands do not make an archive out of a mistyped name."""
    with pytest.raises(ArchiveError, match="There is no archive"):
        Archive.open(path, create=False)
    with pytest.raises(ArchiveError, match="There is no archive"):
        Archive.open(path, read_only=True)
    assert not path.parent.exists()


def test_an_empty_file_becomes_an_archive_only_where_that_is_wanted(path: Path) -> None:
    """What a power cut left of the very first start is taken up again."""
    path.parent.mkdir()
    path.touch()
    with pytest.raises(ArchiveError, match="empty") as refused:
        Archive.open(path, create=False)
    assert refused.value.advice == "Name another file."
    with Archive.open(path) as archive:
        assert archive.prove().clean


def test_a_folder_or_a_place_below_a_file_is_refused(tmp_path: Path) -> None:
    """Paths that cannot hold an archive give one clear error."""
    with pytest.raises(ArchiveError, match="is a folder"):
        Archive.open(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(ArchiveError, match="cannot be opened"):
        Archive.open(tmp_path / "file" / "archive.sqlite3")


def test_odd_file_names_are_plain_names(tmp_path: Path, content: MakeContent) -> None:
    """Characters that mean something in an address are part of the name."""
    path = tmp_path / "a?b#c%20 d.sqlite3"
    with Archive.open(path) as archive:
        archive.keep("TIDE", content("10 A\n"), Origin("edit"))
    assert path.exists()
    with Archive.open(path, create=False) as archive:
        assert archive.revision("TIDE").number == 1


def test_many_threads_may_open_a_new_archive_at_once(path: Path) -> None:
    """The schema is made exactly once, and all of them get the same archive."""
    start = threading.Barrier(6)
    uuids: list[str] = []
    errors: list[BaseException] = []

    def opening() -> None:
        try:
            start.wait()
            with Archive.open(path) as archive:
                uuids.append(archive.uuid)
        except BaseException as error:  # noqa: BLE001 - handed to the test below
            errors.append(error)

    threads = [threading.Thread(target=opening) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert len(uuids) == 6 and len(set(uuids)) == 1


def test_the_steps_end_at_the_latest_schema() -> None:
    """The number that is written is the number of migrations there are."""
    db = Database(memory=True, execute_plugins=False)
    STEPS.migrations.apply(db)
    assert len(STEPS.migrations.applied(db)) == STEPS.latest
    db.close()
    assert APPLICATION_ID < 2**31  # PRAGMA application_id is a signed 32-bit number


def test_switching_to_wal_waits_for_others(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite itself does not wait there; a switch refused as busy is tried again."""
    tries: list[int] = []
    enable = Database.enable_wal

    def busy_twice(db: Database) -> None:
        tries.append(1)
        if len(tries) < 3:
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode = sqlite3.SQLITE_BUSY
            raise error
        enable(db)

    monkeypatch.setattr(Database, "enable_wal", busy_twice)
    with Archive.open(path) as archive:
        assert archive.prove().clean
    assert len(tries) == 3


def test_a_switch_to_wal_that_stays_refused_ends_in_one_error(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wait has an end."""

    def always_busy(_: Database) -> None:
        error = sqlite3.OperationalError("database is locked")
        error.sqlite_errorcode = sqlite3.SQLITE_BUSY
        raise error

    monkeypatch.setattr(Database, "enable_wal", always_busy)
    monkeypatch.setattr(opening, "BUSY_SECONDS", 0.03)
    with pytest.raises(ArchiveError, match="could not be opened: another program"):
        Archive.open(path)


def test_an_old_sqlite_is_named(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A Python whose SQLite knows no STRICT tables gets a sentence, not a syntax error."""
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 31, 1))
    with pytest.raises(ArchiveError, match=r"needs 3\.37\.0 or later"):
        Archive.open(path)
    assert not path.exists()
