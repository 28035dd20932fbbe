"""Open the archive file: identify it, find its schema, and migrate it.

The order matters. The header is read before SQLite touches the file, so that a file of another
program is never changed. An older archive is copied before it is migrated. A newer one is refused.
"""

from __future__ import annotations

import dataclasses
import shlex
import sqlite3
import time
import uuid
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from hostlink import __version__
from hostlink.archive.database.access import Access, find_access, has_no_room, private_copy
from hostlink.archive.database.database_errors import BUSY_SECONDS, FAULTS, not_opened
from hostlink.archive.database.flushing import flush_folder, make_folders
from hostlink.archive.database.migrations import STEPS, MigrationSteps
from hostlink.archive.database.rows import insert
from hostlink.archive.database.tables import TABLES
from hostlink.archive.times import utc_text
from hostlink.errors import ArchiveError
from hostlink.sentences import BY_NEWER_HOSTLINK, FILE_UNTOUCHED, no_archive_at

APPLICATION_ID = int.from_bytes(b"hlnk", "big")
_HEADER = b"SQLite format 3\0"
_OLDEST_SQLITE = (3, 37, 0)  # the first with STRICT tables
# A listing of about 1 KB with all its columns fills a third to a half of SQLite's usual page of
# 4096 bytes, and what is left over is lost; on a larger page less is. Only a new file takes it.
_PAGE_BYTES = 8192


def open_file(
    path: Path,
    *,
    create: bool,
    read_only: bool,
    now: Callable[[], datetime],
    steps: MigrationSteps = STEPS,
) -> Access:
    """Open the archive at path, making and migrating it as needed; return how to reach it.

    create: make a missing file, with its folder. The archive may be read-only by request, or
    because file, folder or disk allow no more. Raises ArchiveError if the file is not an archive or
    cannot be used.
    """
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise ArchiveError(
            f"This Python has SQLite {sqlite3.sqlite_version}; the archive needs "
            f"{'.'.join(map(str, _OLDEST_SQLITE))} or later.",
            advice="Use a newer Python.",
        )
    is_new = _look_at(path, create=create and not read_only)
    try:
        access = find_access(path, read_only=read_only)
        try:
            _bring_up(access, path, create=create, now=now, steps=steps)
        except _OlderError:
            access.close()
            access = _renewed_copy(path, now=now, steps=steps)
        except BaseException:
            access.close()
            raise
    except FAULTS as error:
        raise not_opened(error, path) from error
    if is_new:
        flush_folder(path.parent)
    return access


class _OlderError(Exception):
    """The archive has an older schema, and is read-only or has no room for a newer one."""


def _renewed_copy(path: Path, *, now: Callable[[], datetime], steps: MigrationSteps) -> Access:
    """Return a private copy of an older archive, migrated; the archive itself is only read."""
    copy = private_copy(path)
    _bring_up(dataclasses.replace(copy, read_only=False), path, create=False, now=now, steps=steps)
    return copy


def _look_at(path: Path, *, create: bool) -> bool:
    """Refuse a file that is not an archive before SQLite touches it; return whether to make one."""
    try:
        if path.is_dir():
            raise ArchiveError(f"{path} is a folder, not an archive.", advice="Name a file.")
        if not path.exists():
            if not create:
                raise ArchiveError(
                    f"{no_archive_at(path)}.",
                    advice="Check the name; keeping a program there makes one.",
                )
            make_folders(path.parent)
            path.touch()
            return True
        if not (path.is_file() or path.is_char_device()):  # reading a pipe could block
            raise ArchiveError(
                f"{path} is not a file, so it cannot be an archive.", advice="Name another file."
            )
        with path.open("rb") as file:
            header = file.read(len(_HEADER))
    except OSError as error:
        raise ArchiveError(
            f"The archive {path} cannot be opened: {error.strerror or error}.",
            advice="Check the folder and who may read and write there.",
        ) from error
    if header not in (b"", _HEADER):
        raise ArchiveError(
            f"{path} is not an archive: it is not an SQLite file.",
            kept=FILE_UNTOUCHED,
            advice=lambda by: f"Name another file {by.name_archive}.",
        )
    if not header and not create:
        raise ArchiveError(f"{path} is not an archive: it is empty.", advice="Name another file.")
    return not header


def _pragma(db: Database, name: str) -> int:
    return int(db.execute(f"PRAGMA {name}").fetchone()[0])


def _bring_up(
    access: Access, path: Path, *, create: bool, now: Callable[[], datetime], steps: MigrationSteps
) -> None:
    """Migrate the archive to the latest schema if needed. path: named in errors."""
    db = access.connect()
    try:
        version = _version(db, path, create=create and not access.read_only, steps=steps)
        if access.read_only:
            if version < steps.latest:
                raise _OlderError
            return
        if not version:
            db.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
        try:
            _renew(db, access, path, version, now=now, steps=steps)
        except FAULTS as error:
            if 0 < version < steps.latest and has_no_room(error):
                raise _OlderError from error
            raise
    finally:
        db.close()


def _renew(
    db: Database,
    access: Access,
    path: Path,
    version: int,
    *,
    now: Callable[[], datetime],
    steps: MigrationSteps,
) -> None:
    """Switch an archive to WAL and migrate it."""
    if not access.alone:
        _use_wal(db)
    if version == steps.latest:
        return
    if version and not access.private:
        _copy_before(db, path, version)
    db.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have done it while this one waited.
        if _pragma(db, "user_version") < steps.latest:
            _migrate(db, now, steps)
        db.commit()
    except BaseException:
        if db.conn.in_transaction:  # a full disk ends it by itself
            db.rollback()
        raise


def _version(db: Database, path: Path, *, create: bool, steps: MigrationSteps) -> int:
    """Return the schema number, 0 for a blank file. Raises ArchiveError for other files."""
    db.execute("BEGIN")  # one view of all, while another process may be making the archive
    try:
        application, version = _pragma(db, "application_id"), _pragma(db, "user_version")
        recorded = _recorded(db)
        held = db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        tables = {row[0] for row in held}
    finally:
        db.rollback()
    if create and not tables and application in (0, APPLICATION_ID) and version == 0:
        return 0
    _refuse_changed_marks(path, application, version, recorded)
    if application == APPLICATION_ID and not tables.intersection(TABLES):
        raise ArchiveError(
            f"{path} has the mark of an archive, but none of its tables: it is damaged, or another "
            "program made it.",
            kept=FILE_UNTOUCHED,
            advice=lambda by: (
                f"Name another file {by.name_archive}, or import a duplicate into a new one."
            ),
        )
    if application != APPLICATION_ID:
        raise ArchiveError(
            f"{path} is an SQLite file, but not an archive of hostlink.",
            kept=FILE_UNTOUCHED,
            advice=lambda by: f"Name another file {by.name_archive}.",
        )
    if version > steps.latest:
        raise ArchiveError(
            f"The archive {path} {BY_NEWER_HOSTLINK} (schema {version}; this one "
            f"knows schemas up to {steps.latest}).",
            kept=FILE_UNTOUCHED,
            advice="Update hostlink.",
        )
    return version


def _recorded(db: Database) -> int:
    """Return the schema number by the record of migrations, or 0."""
    held = "SELECT count(*) FROM sqlite_master WHERE name = '_sqlite_migrations'"
    if not db.execute(held).fetchone()[0]:
        return 0
    done = "SELECT count(*) FROM _sqlite_migrations WHERE migration_set = 'hostlink'"
    return int(db.execute(done).fetchone()[0])


def _refuse_changed_marks(path: Path, application: int, version: int, recorded: int) -> None:
    """Refuse an archive whose header disagrees with its tables."""
    if not recorded or (application == APPLICATION_ID and version == recorded):
        return
    if application != APPLICATION_ID:
        what = f"{path} has the tables of an archive, but not its mark"
        pragma = f"application_id = {APPLICATION_ID}"
    else:
        what = (
            f"The archive {path} has tables of schema {recorded}, but its schema number is "
            f"{version}"
        )
        pragma = f"user_version = {recorded}"
    raise ArchiveError(
        f"{what}: another program changed it, or it is damaged.",
        kept=FILE_UNTOUCHED,
        advice=lambda by: (
            "Copy the file elsewhere, then repair this one with `sqlite-utils query "
            f'{shlex.quote(str(path))} "PRAGMA {pragma}"`, and prove it {by.prove}.'
        ),
    )


def _migrate(db: Database, now: Callable[[], datetime], steps: MigrationSteps) -> None:
    """Run the missing migrations inside a transaction, each in a savepoint."""
    is_new = _pragma(db, "user_version") == 0
    steps.migrations.apply(db)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {steps.latest}")
    if is_new:
        _identify(db, now)


def _identify(db: Database, now: Callable[[], datetime]) -> None:
    """Give a new archive its UUID, and note when and by which version it was made."""
    made_by = f"hostlink {__version__}"
    insert(db, "archives", uuid=str(uuid.uuid4()), made_at=utc_text(now()), made_by=made_by)


def _use_wal(db: Database) -> None:
    """Switch to WAL, waiting for other processes as SQLite does elsewhere.

    A file system without WAL keeps its journal mode, which is as safe but slower.
    """
    deadline = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            db.enable_wal()
            return
        except sqlite3.OperationalError as error:
            busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
            if not busy or time.monotonic() > deadline:
                raise
            time.sleep(0.01)


def _copy_before(db: Database, path: Path, version: int) -> None:
    """Keep a copy of the file beside it before a migration, under an unused name."""
    for count in range(1, 1000):
        more = "" if count == 1 else f"-{count}"
        copy = path.with_name(f"{path.stem}.schema-{version}{more}{path.suffix}")
        if not copy.exists():
            try:
                db.execute("VACUUM INTO ?", (str(copy),))
            except BaseException:
                copy.unlink(missing_ok=True)  # remove a partial copy that looks complete
                raise
            flush_folder(path.parent)
            return
    raise ArchiveError(
        f"No copy of {path} could be made before changing its schema: every name is taken.",
        kept=FILE_UNTOUCHED,
        advice="Move the older copies beside it elsewhere.",
    )
