"""Opening the archive's file: what it is, what schema it has, and how it is brought up to date.

Order matters: the header is read before SQLite touches the file, so that somebody else's file is
never changed; an older archive is copied before it is migrated; a newer one is refused.
"""

from __future__ import annotations

import os
import shlex
import sqlite3
import time
import uuid
from collections.abc import Callable
from datetime import datetime
from functools import partial
from pathlib import Path

from sqlite_utils import Database

from hostlink import __version__
from hostlink.archive.flushing import flush_folder, make_folders
from hostlink.archive.migrations import STEPS, Steps
from hostlink.archive.rows import insert
from hostlink.archive.times import stored
from hostlink.archive.trouble import BUSY_SECONDS, FAULTS, not_opened
from hostlink.errors import ArchiveError

TEXT = partial(str, encoding="utf-8", errors="surrogateescape")
"""How TEXT becomes a str: bytes that are no UTF-8 become lone surrogates."""
APPLICATION_ID = int.from_bytes(b"hlnk", "big")
_HEADER = b"SQLite format 3\0"
_OLDEST_SQLITE = (3, 37, 0)  # the first with STRICT tables
# A listing of about 1 KB with all its columns fills a third to a half of SQLite's usual page of
# 4096 bytes, and what is left over is lost; on a larger page less is. Only a new file obeys.
_PAGE_BYTES = 8192


def open_file(
    path: Path, *, create: bool, read_only: bool, now: Callable[[], datetime], steps: Steps = STEPS
) -> bool:
    """Make the archive at path if there is none, and bring its schema up to date.

    create: whether a missing file may be made, with its folder. Returns whether the archive can
    only be read: because that was asked for, or because file or folder do not allow more.
    Raises ArchiveError for anything that is not an archive of ours or cannot be used.
    """
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise ArchiveError(
            f"This Python has SQLite {sqlite3.sqlite_version}; the archive needs "
            f"{'.'.join(map(str, _OLDEST_SQLITE))} or later.",
            advice="Use a newer Python.",
        )
    is_new = _look_at(path, create=create and not read_only)
    read_only = read_only or not _writable(path)
    try:
        db = connect(path, read_only=read_only)
    except FAULTS as error:
        raise not_opened(error, path) from error
    try:
        _bring_up(db, path, create=create, read_only=read_only, now=now, steps=steps)
    except FAULTS as error:
        raise not_opened(error, path) from error
    finally:
        db.close()
    if is_new:
        flush_folder(path.parent)
    return read_only


def connect(path: Path, *, read_only: bool) -> Database:
    """A connection to a file that is there, with every setting the archive relies on."""
    uri = path.absolute().as_uri()
    if not read_only:
        uri += "?mode=rw"
    elif not _writable(path.parent) and not path.with_name(path.name + "-wal").exists():
        # Where no file can be made beside it, SQLite reads a WAL archive only on this promise.
        uri += "?mode=ro&immutable=1"
    else:
        uri += "?mode=ro"
    conn = sqlite3.connect(
        uri, uri=True, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
    )
    conn.row_factory = sqlite3.Row
    # What damage made of a text is read too, and then refused by what proves it.
    conn.text_factory = TEXT
    try:
        db = Database(conn, execute_plugins=False)
        db.execute("PRAGMA foreign_keys = ON")
        db.execute("PRAGMA synchronous = FULL")
        # 32 MiB at most, taken as it is used: with SQLite's usual 2 a new revision in a large
        # archive takes twice as long, reading index pages again and again.
        db.execute("PRAGMA cache_size = -32768")
        # On macOS a plain fsync leaves data in the drive's cache; elsewhere these do nothing.
        db.execute("PRAGMA fullfsync = ON")
        db.execute("PRAGMA checkpoint_fullfsync = ON")
    except BaseException:
        conn.close()
        raise
    return db


def _writable(path: Path) -> bool:
    """Whether the file, or else the nearest folder that is there, may be written."""
    if path.is_file():
        return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
    return os.access(path, os.W_OK)


def _look_at(path: Path, *, create: bool) -> bool:
    """Refuse what cannot be an archive before SQLite touches it; say whether it must be made."""
    try:
        if path.is_dir():
            raise ArchiveError(f"{path} is a folder, not an archive.", advice="Name a file.")
        if not path.exists():
            if not create:
                raise ArchiveError(
                    f"There is no archive at {path}.",
                    advice="Check the name; the first program kept makes a new one.",
                )
            make_folders(path.parent)
            path.touch()
            return True
        with path.open("rb") as file:
            header = file.read(len(_HEADER))
    except OSError as error:
        raise ArchiveError(
            f"The archive {path} cannot be opened: {error.strerror or error}.",
            advice="Check the folder and who may read and write there.",
        ) from error
    if header not in (b"", _HEADER):
        raise ArchiveError(
            f"{path} is not an archive: it is no SQLite file.",
            kept="It was not touched.",
            advice="Name another file with --archive.",
        )
    if not header and not create:
        raise ArchiveError(f"{path} is not an archive: it is empty.", advice="Name another file.")
    return not header


def _pragma(db: Database, name: str) -> int:
    return int(db.execute(f"PRAGMA {name}").fetchone()[0])


def _bring_up(
    db: Database,
    path: Path,
    *,
    create: bool,
    read_only: bool,
    now: Callable[[], datetime],
    steps: Steps,
) -> None:
    application, version = _pragma(db, "application_id"), _pragma(db, "user_version")
    empty = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    blank = application == 0 and version == 0 and empty and create and not read_only
    _refuse_changed_marks(path, application, version, _recorded(db))
    if application != APPLICATION_ID and not blank:
        raise ArchiveError(
            f"{path} is an SQLite file, but not an archive of hostlink.",
            kept="It was not touched.",
            advice="Name another file with --archive.",
        )
    if version > steps.latest:
        raise ArchiveError(
            f"The archive {path} was written by a newer hostlink (schema {version}; this one "
            f"knows schemas up to {steps.latest}).",
            kept="It was not touched.",
            advice="Update hostlink.",
        )
    if read_only:
        if version < steps.latest:
            raise ArchiveError(
                f"The archive {path} is of schema {version} and must be brought up to schema "
                f"{steps.latest}, but it can only be read.",
                advice="Copy it to where it may be written and open the copy.",
            )
        return
    if blank:
        db.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
    _use_wal(db)
    if version == steps.latest:
        return
    if version:
        _copy_before(db, path, version)
    db.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have done it while this one waited.
        if _pragma(db, "user_version") < steps.latest:
            _migrate(db, now, steps)
        db.commit()
    except BaseException:
        db.rollback()
        raise


def _recorded(db: Database) -> int:
    """The schema number by the record of the migrations, 0 where there is none."""
    held = "SELECT count(*) FROM sqlite_master WHERE name = '_sqlite_migrations'"
    if not db.execute(held).fetchone()[0]:
        return 0
    done = "SELECT count(*) FROM _sqlite_migrations WHERE migration_set = 'hostlink'"
    return int(db.execute(done).fetchone()[0])


def _refuse_changed_marks(path: Path, application: int, version: int, recorded: int) -> None:
    """Refuse an archive whose marks in the file's header are not what its tables say."""
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
        kept="It was not touched.",
        advice=f"Copy it away, then put it back with `sqlite-utils query {shlex.quote(str(path))} "
        f'"PRAGMA {pragma}"` and prove it.',
    )


def _migrate(db: Database, now: Callable[[], datetime], steps: Steps) -> None:
    """Run the missing steps; called inside a transaction, which they join as savepoints."""
    is_new = _pragma(db, "user_version") == 0
    steps.migrations.apply(db)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {steps.latest}")
    if is_new:
        made_by = f"hostlink {__version__}"
        insert(db, "archives", uuid=str(uuid.uuid4()), made_at=stored(now()), made_by=made_by)


def _use_wal(db: Database) -> None:
    """Switch to WAL. SQLite does not wait for others there, so this does, up to the same limit.

    Where a file system cannot do WAL the journal stays as it was, which is as safe and slower.
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
    """Keep the file as it was before a migration, beside it, under a name not yet taken."""
    for count in range(1, 1000):
        more = "" if count == 1 else f"-{count}"
        copy = path.with_name(f"{path.stem}.schema-{version}{more}{path.suffix}")
        if not copy.exists():
            db.execute("VACUUM INTO ?", (str(copy),))
            flush_folder(path.parent)
            return
    raise ArchiveError(
        f"No copy of {path} could be made before changing its schema: every name is taken.",
        kept="It was not touched.",
        advice="Move the older copies beside it away.",
    )
