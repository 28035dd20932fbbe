"""What is opened, what is refused, and migrations."""

from __future__ import annotations

import contextlib
import gzip
import os
import shlex
import shutil
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlite_utils import Database

from hostlink.archive import Archive, Content, Origin, RunEnd, RunText
from hostlink.archive.database import opening
from hostlink.archive.database.migrations import STEPS, MigrationSteps, schema_steps
from hostlink.archive.database.opening import APPLICATION_ID, open_file
from hostlink.cli.ways import in_commands
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
FILES = Path(__file__).parent / "files"
OLDEST = FILES / "schema-1.sqlite3.gz"


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
    assert conn.execute("PRAGMA user_version").fetchone()[0] == 5
    assert conn.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert conn.execute("PRAGMA page_size").fetchone()[0] == 8192
    conn.close()
    with archive.reading("x") as db:
        assert db.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
        assert db.execute("PRAGMA foreign_keys").fetchone()[0] == 1
        assert db.execute("PRAGMA busy_timeout").fetchone()[0] == 5000


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


def test_an_archive_of_each_earlier_schema_is_kept() -> None:
    """Made by the code of its time (files/make_later_schema.py), before the next schema came."""
    kept = {path.name for path in FILES.glob("schema-*")}
    assert kept == {f"schema-{number}.sqlite3.gz" for number in range(1, STEPS.latest)}


@pytest.mark.parametrize("file", ["archive-0.1.0", "schema-2", "schema-3", "schema-4"])
def test_what_earlier_versions_kept_is_all_there(tmp_path: Path, file: str) -> None:
    """One of everything that version 0.1.0, or a schema since, could keep: brought up to the latest
    schema it is proven clean, all of it can be read, and it can be added to."""
    path = tmp_path / "archive.sqlite3"
    path.write_bytes(gzip.decompress((FILES / f"{file}.sqlite3.gz").read_bytes()))
    with Archive.open(path) as archive:
        assert archive.prove().findings == ()
        names = [program.name for program in archive.programs(retired=None)]
        assert names == ["DICE", "HAIL", "MOON", "TIDE"]
        tide = archive.program("TIDE")
        assert (tide.revisions, tide.latest, tide.tags) == (3, 3, ("clock", "sea"))
        assert tide.note == "Runs four minutes slow."
        assert archive.revision("MOON").archive != ""
        assert archive.content(archive.revision("HAIL")).raw == b'10 PRINT "\xe9"\r\n'
        board = archive.board("Red")
        assert archive.board_role(board.uuid) == "computer"
        (rescue,) = archive.rescues()
        assert (rescue.program, rescue.origin.captures, rescue.origin.after_restart) == (
            "TIDE", 2, True,
        )  # fmt: skip
        copy = archive.host_copy(board.uuid)
        assert copy is not None and copy.revision == "TIDE@2" and copy.proven_at is not None
        backup = archive.backup("backup@1")
        assert [item.name for item in backup.items] == ["memory", "A1"]
        (write,) = archive.writes()
        assert write.image.sound and write.backup == "backup@1" and write.is_finished
        jobs = [event.job for event in archive.events()]
        assert jobs == ["survey", "load", "rescue", "retire"]
        assert archive.events(job="load")[0].detail == {"bytes": 42}
        kept = archive.keep(
            "TIDE", Content(b"10 END\n", "10 END\n", "10 END\n", "p", "latin-1"), Origin("edit")
        )
        assert archive.runs() == []
        run = archive.keep_run(RunText(("ON",)), RunEnd(), seconds=0, revision=kept.revision)
        assert (run.spec, archive.run("TIDE")) == ("run@1", run)
        assert [found.run for found in archive.find_printed("on")] == [run]
        assert kept.revision.spec == "TIDE@4" and archive.prove().findings == ()


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE revisions SET kept_at = 'noon' WHERE id = 1",
        "UPDATE revisions SET origin_where = CAST(x'ff' AS TEXT) WHERE id = 1",
        "UPDATE programs SET name_key = 'x' WHERE id = 1",
        "UPDATE listings SET text = 'x' WHERE id = 1",
    ],
)
def test_what_was_damaged_before_there_were_checksums_stays_so(oldest: Path, damage: str) -> None:
    """A row that cannot be as it was written gets no checksum; all others are brought up."""
    conn = sqlite3.connect(oldest)
    names = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%never%'"
    for (name,) in conn.execute(names).fetchall():
        conn.execute(f"DROP TRIGGER {name}")
    conn.execute(damage)
    conn.commit()
    conn.close()
    with Archive.open(oldest) as archive:
        assert archive.prove().lasting
        assert archive.program("DICE").latest == 1


def _next_schema(fails: bool = False) -> MigrationSteps:
    """The migrations with one more, as a later version would have it."""
    steps = schema_steps()

    @steps.migrations(name="schema 6")
    def schema_6(db: Database) -> None:
        db.execute("CREATE TABLE classes (id INTEGER PRIMARY KEY, day TEXT NOT NULL) STRICT")
        if fails:
            db.execute("CREATE TABLE classes (id INTEGER PRIMARY KEY) STRICT")

    return MigrationSteps(steps.migrations, 6)


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
    open_file(oldest, create=False, read_only=False, now=at_six, steps=_next_schema())
    copy = oldest.with_name("old.schema-1.sqlite3")
    assert (_version(oldest), _version(copy)) == (6, 1)
    with Archive.open(copy) as archive:
        assert archive.prove().clean
        assert len(archive.history("TIDE")) == 3
    conn = sqlite3.connect(oldest)
    assert conn.execute("SELECT count(*) FROM revisions").fetchone()[0] == 4
    assert conn.execute("SELECT count(*) FROM classes").fetchone()[0] == 0
    conn.close()
    open_file(oldest, create=False, read_only=False, now=at_six, steps=_next_schema())
    assert not oldest.with_name("old.schema-1-2.sqlite3").exists()
    assert not list(oldest.parent.glob("old.schema-[23456]*"))
    assert flushed[0] == (oldest.parent, 1)


def test_a_failed_migration_leaves_the_file_as_it_was(oldest: Path) -> None:
    """Nothing of a migration that breaks off stays, and the next copy gets another name."""
    for _ in range(2):
        with pytest.raises(ArchiveError, match="already exists"):
            open_file(
                oldest, create=False, read_only=False, now=at_six, steps=_next_schema(fails=True)
            )
    assert _version(oldest) == 1
    assert oldest.with_name("old.schema-1-2.sqlite3").exists()
    with Archive.open(oldest) as archive:
        assert archive.prove().clean


def test_an_older_file_that_may_only_be_read_is_read_by_a_renewed_copy(
    oldest: Path, tmp_path: Path
) -> None:
    """It is not touched, gets nothing beside it, and its whole content can be read and imported."""
    before = oldest.read_bytes()
    with Archive.open(oldest, read_only=True) as archive:
        assert archive.read_only
        assert [one.number for one in archive.history("TIDE")] == [1, 2, 3]
        assert archive.prove().findings == ()
        with pytest.raises(ArchiveError, match="is read-only"):
            archive.retire("TIDE")
        copy = archive._access.path
        assert copy.exists() and copy.parent != oldest.parent
    assert not copy.parent.exists()
    with Archive.open(tmp_path / "new.sqlite3") as new:
        assert new.merge_file(oldest).added["revisions"] == 4
        assert new.prove().findings == ()
    assert oldest.read_bytes() == before and _version(oldest) == 1
    assert {path.name for path in oldest.parent.glob("old*")} == {"old.sqlite3"}


def test_a_newer_file_is_refused_untouched(path: Path) -> None:
    """A schema this version does not know is left alone, with one clear sentence."""
    Archive.open(path).close()
    open_file(path, create=False, read_only=False, now=at_six, steps=_next_schema())
    before = path.read_bytes()
    with pytest.raises(
        ArchiveError, match=r"newer hostlink \(schema 6; this one knows schemas up to 5"
    ) as refused:
        Archive.open(path)
    assert (refused.value.kept, refused.value.advice) == ("It was not touched.", "Update hostlink.")
    assert path.read_bytes() == before


@pytest.mark.one_in(2)
@pytest.mark.parametrize("number", [0, 1, 7, -3])
def test_a_schema_number_that_was_changed_is_told_as_what_it_is(path: Path, number: int) -> None:
    """Zeroed or changed by another program: it is no new file, no old one and no newer one. What
    the message says puts it back."""
    with Archive.open(path) as archive:
        archive.keep(
            "TIDE", Content(b"10 END\n", "10 END\n", "10 END\n", "p", "latin-1"), Origin("edit")
        )
    conn = sqlite3.connect(path)
    conn.execute(f"PRAGMA user_version = {number}")
    conn.close()
    before = path.read_bytes()
    for create in (True, False):
        with pytest.raises(ArchiveError, match=f"schema number is {number}") as refused:
            Archive.open(path, create=create)
        assert "of schema 5" in refused.value.what
        assert refused.value.kept == "It was not touched."
    assert path.read_bytes() == before
    _do_what_is_advised(path, in_commands(refused.value.advice))
    with Archive.open(path) as archive:
        assert archive.prove().clean


def test_a_mark_that_was_changed_is_told_as_what_it_is(path: Path) -> None:
    """An archive that another program has taken the mark from is not called somebody else's."""
    Archive.open(path).close()
    conn = sqlite3.connect(path)
    conn.execute("PRAGMA application_id = 0")
    conn.close()
    with pytest.raises(ArchiveError, match="has the tables of an archive, but not its mark") as no:
        Archive.open(path)
    _do_what_is_advised(path, in_commands(no.value.advice))
    with Archive.open(path) as archive:
        assert archive.prove().clean


def _do_what_is_advised(path: Path, advice: str) -> None:
    """Run the command of sqlite-utils that a message names."""
    command = shlex.split(advice.split("`")[1])
    assert command[:3] == ["sqlite-utils", "query", str(path)]
    done = subprocess.run(
        [sys.executable, "-m", "sqlite_utils", *command[1:]], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr


def test_what_is_not_an_sqlite_file_is_refused_untouched(path: Path) -> None:
    """Somebody's text file is not opened, not changed, and gets no file beside it."""
    path.parent.mkdir()
    path.write_text("10 PRINT 1\n")
    with pytest.raises(ArchiveError, match="not an SQLite file"):
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
    """A file with a good header and rubbish behind it is one clear error, and the advice is none
    that would end in the same error."""
    path.parent.mkdir()
    path.write_bytes(b"SQLite format 3\0" + bytes(range(256)) * 40)
    with pytest.raises(ArchiveError, match="damaged") as refused:
        Archive.open(path)
    assert "duplicate or an export" in in_commands(refused.value.advice)
    assert "archive prove" not in in_commands(refused.value.advice)


@pytest.mark.parametrize("create", [True, False])
def test_a_file_with_our_mark_and_none_of_our_tables_is_refused_untouched(
    path: Path, create: bool
) -> None:
    """Another program's, or damaged: nothing is made in it."""
    path.parent.mkdir()
    conn = sqlite3.connect(path)
    conn.executescript(
        f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {STEPS.latest};"
        "CREATE TABLE accounts (id INTEGER)"
    )
    conn.close()
    before = path.read_bytes()
    with pytest.raises(ArchiveError, match="mark of an archive, but none of its tables"):
        Archive.open(path, create=create)
    assert path.read_bytes() == before


def test_a_file_with_our_mark_and_nothing_else_is_not_filled_by_who_only_looks(path: Path) -> None:
    """It is made an archive only where a new one may be made."""
    path.parent.mkdir()
    conn = sqlite3.connect(path)
    conn.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    conn.close()
    before = path.read_bytes()
    with pytest.raises(ArchiveError, match="none of its tables"):
        Archive.open(path, create=False)
    assert path.read_bytes() == before
    with Archive.open(path) as archive:
        assert archive.prove().clean


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(path: Path) -> None:
    """What is no file is refused at once."""
    path.parent.mkdir()
    os.mkfifo(path)
    with pytest.raises(ArchiveError, match="is not a file, so it cannot be an archive"):
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


@pytest.mark.skipif(os.name != "posix", reason="elsewhere an open file cannot be moved")
def test_nothing_is_kept_in_a_file_that_was_moved_away(path: Path, content: MakeContent) -> None:
    """Nor in one that a copy took the place of: nobody would find it; put back, it goes on."""
    elsewhere = path.with_name("elsewhere.sqlite3")
    with Archive.open(path) as archive:
        archive.keep("ONE", content("10 END\n"), Origin("edit"))
        path.rename(elsewhere)
        for _ in range(2):
            with pytest.raises(ArchiveError, match=r"TWO was not kept: .* moved, replaced or"):
                archive.keep("TWO", content("20 END\n"), Origin("edit"))
            shutil.copy(elsewhere, path)
        elsewhere.rename(path)
        archive.keep("TWO", content("20 END\n"), Origin("edit"))
    with Archive.open(path) as archive:
        assert [each.name for each in archive.programs()] == ["ONE", "TWO"]
        assert archive.prove().findings == ()


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


def test_a_file_that_another_process_fills_meanwhile_is_looked_at_in_one_view(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its mark was read before, its tables after: it looked as if something had changed it."""
    path.parent.mkdir(exist_ok=True)
    path.touch()
    look, tried = opening._pragma, list[str]()

    def meanwhile(db: Database, name: str) -> int:
        found = look(db, name)
        if not tried:
            other = sqlite3.connect(path, timeout=0, isolation_level=None)
            tried.append(name)
            with contextlib.closing(other), contextlib.suppress(sqlite3.OperationalError):
                other.executescript(
                    f"BEGIN; PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = 1; "
                    "CREATE TABLE _sqlite_migrations (migration_set TEXT, name TEXT); "
                    "INSERT INTO _sqlite_migrations VALUES ('hostlink', 'first'); COMMIT"
                )
        return found

    monkeypatch.setattr(opening, "_pragma", meanwhile)
    with Archive.open(path) as archive:
        assert tried == ["application_id"]
        assert archive.programs() == []


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
