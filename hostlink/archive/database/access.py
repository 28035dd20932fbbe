"""Reach the archive file: directly, alone, or through a private copy.

SQLite's write-ahead log needs a file beside the archive that all processes share (-shm). Where it
cannot be made, reading must not fail, and must not mistake a write by another process for damage:

1. On a full disk the archive is opened alone: SQLite keeps that file in memory, and other processes
   wait (the VFS "unix-excl").
2. In a read-only folder, an archive that another process has open is read together with it. Another
   one is copied to a temporary folder, and the copy is read. Opening it with immutable=1 would
   promise that nobody writes to it; breaking that promise makes a sound archive look malformed.
3. An older archive that may only be read is copied too, and the copy is migrated.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
import time
import weakref
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from sqlite_utils import Database

from hostlink.archive.database.database_errors import BUSY_SECONDS, FAULTS, Fault
from hostlink.errors import ArchiveError, system_words
from hostlink.sentences import FILE_UNTOUCHED, TRY_WHEN_FINISHED

_LOGS = ("-wal", "-journal")  # the second if the file system has no shared memory
_TRIES, _PAUSE_S = 20, 0.02
_TICK_NS = 20_000_000  # times of files go by the kernel's tick, 10 ms at most
_PIECE = 1 << 20
# SQLite's messages for a read-only file with an interrupted write.
_NEEDS_ROLLBACK = {
    sqlite3.SQLITE_READONLY_ROLLBACK,
    sqlite3.SQLITE_READONLY_RECOVERY,
    sqlite3.SQLITE_READONLY_CANTINIT,
}
# SQLite's messages when it cannot make or enlarge the shared file of the log.
_NO_ROOM_BESIDE = {
    sqlite3.SQLITE_IOERR_SHMSIZE,
    sqlite3.SQLITE_IOERR_SHMOPEN,
    sqlite3.SQLITE_IOERR_SHMMAP,
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_CANTOPEN,
}


def text_of(stored: bytes) -> str:
    """Return a stored TEXT; bytes that are not UTF-8 become lone surrogates, for `rows` to find."""
    return stored.decode("utf-8", "surrogateescape")


@dataclass(frozen=True)
class Access:
    """A way to reach the archive file.

    path: the file to open. alone: no other process can have it open. private: a copy of this
    process, which `close` deletes. held: a connection that stays open, so that other processes do
    not delete the log files when they close the archive.
    """

    path: Path
    read_only: bool
    alone: bool = False
    private: bool = False
    held: Database | None = field(default=None, compare=False, repr=False)

    def connect(self) -> Database:
        """Return a connection, with every setting the archive relies on."""
        mode = "ro" if self.read_only and not (self.alone or self.private) else "rw"
        uri = f"{self.path.absolute().as_uri()}?mode={mode}{'&vfs=unix-excl' if self.alone else ''}"
        conn = sqlite3.connect(
            uri, uri=True, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
        )
        conn.row_factory = sqlite3.Row
        conn.text_factory = text_of
        try:
            db = Database(conn, execute_plugins=False)
            db.execute("PRAGMA foreign_keys = ON")
            db.execute("PRAGMA synchronous = FULL")
            # A cache of at most 32 MiB, allocated on use. With the default of 2 MiB a new revision
            # in a large archive takes twice as long, reading index pages again and again.
            db.execute("PRAGMA cache_size = -32768")
            # On macOS a plain fsync leaves data in the drive's cache; elsewhere these do nothing.
            db.execute("PRAGMA fullfsync = ON")
            db.execute("PRAGMA checkpoint_fullfsync = ON")
            if self.alone:
                db.execute("PRAGMA temp_store = MEMORY")  # the temporary folder may be full too
            if self.read_only and mode == "rw":
                db.execute("PRAGMA query_only = ON")
        except BaseException:
            conn.close()
            raise
        return db

    def close(self) -> None:
        """Delete a private copy; every other connection to it must be closed."""
        if self.held is not None:
            self.held.close()
        if self.private:
            shutil.rmtree(self.path.parent, ignore_errors=True)


def find_access(path: Path, *, read_only: bool) -> Access:
    """Return the way to reach an existing archive. Raises ArchiveError, or SQLite's own error."""
    read_only = read_only or not writable(path)
    if not os.access(path.parent, os.W_OK):
        return _beside_or_copied(path)
    plain = Access(path, read_only)
    try:
        _try(plain)
        return plain
    except FAULTS as error:
        first = error
    if getattr(first, "sqlite_errorcode", 0) in _NEEDS_ROLLBACK:
        if writable(path):
            _try(replace(plain, read_only=False))  # rolls the write back, as a writer would
            return plain
        return private_copy(path)
    if not has_no_room(first):
        raise first
    ways: list[Callable[[], Access]] = [
        partial(Access, path, read_only, alone=True),
        partial(private_copy, path),
    ]
    for way in ways:
        with contextlib.suppress(*FAULTS, ArchiveError, OSError):
            access = way()
            _try(access)
            return access
    raise first


def writable(path: Path) -> bool:
    """Return whether a file and its folder can be written; false if there is no file."""
    if path.is_file():
        return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
    return os.access(path, os.W_OK)


class InUseError(Exception):
    """Another process has opened the archive meanwhile; it can be read in shared mode."""


def private_copy(path: Path, *, unless_in_use: bool = False) -> Access:
    """Return a copy of the archive, made while nobody wrote to it.

    unless_in_use: raise InUseError if another process has it open. Raises ArchiveError.
    """
    folder = Path(tempfile.mkdtemp(prefix="hostlink-archive-"))
    access = Access(folder / path.name, read_only=True, private=True)
    weakref.finalize(access, shutil.rmtree, folder, ignore_errors=True)
    try:
        for _ in range(_TRIES):
            if _copied_whole(path, access.path):
                return access
            if unless_in_use and _file(path, "-shm").exists():
                shutil.rmtree(folder, ignore_errors=True)
                raise InUseError
            time.sleep(_PAUSE_S)
    except OSError as error:
        shutil.rmtree(folder, ignore_errors=True)
        raise ArchiveError(
            f"The archive {path} can be read only from a copy, which could not be made in "
            f"{folder.parent}: {system_words(error)}.",
            kept=FILE_UNTOUCHED,
            advice="Make room there, or name another folder in TMPDIR.",
        ) from error
    shutil.rmtree(folder, ignore_errors=True)
    raise ArchiveError(
        f"Another program keeps writing to the archive {path}, so no whole copy of it can be read.",
        kept=FILE_UNTOUCHED,
        advice=TRY_WHEN_FINISHED,
    )


def _try(access: Access) -> None:
    """Open a connection and read once, which needs everything that later reads need."""
    _opened(access).close()


@contextlib.contextmanager
def writing_elsewhere(db: Database) -> Iterator[None]:
    """Let a read-only connection write another file or temporary data.

    SQLite's query_only would refuse these too.
    """
    before = db.execute("PRAGMA query_only").fetchone()[0]
    db.execute("PRAGMA query_only = OFF")
    try:
        yield
    finally:
        db.execute(f"PRAGMA query_only = {before}")


def _opened(access: Access) -> Database:
    """Return a connection that has read once, so that it holds all locks and files of a reader."""
    db = access.connect()
    try:
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        db.close()
        raise
    return db


def has_no_room(error: Fault) -> bool:
    """Return whether SQLite found no room for the archive or its log files."""
    return getattr(error, "sqlite_errorcode", 0) in _NO_ROOM_BESIDE


def _beside_or_copied(path: Path) -> Access:
    """Return the way to reach an archive in a read-only folder.

    Another process may open or close it at any moment, so both ways may need to be tried again.
    """
    beside = Access(path, read_only=True)
    for _ in range(_TRIES):
        if _file(path, "-shm").exists():
            with contextlib.suppress(*FAULTS):
                return replace(beside, held=_opened(beside))
        else:
            with contextlib.suppress(InUseError):
                return private_copy(path, unless_in_use=True)
        time.sleep(_PAUSE_S)
    return replace(beside, held=_opened(beside))


def _file(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)


def _copied_whole(path: Path, copy: Path) -> bool:
    """Copy an archive and its log; return whether both were unchanged meanwhile.

    A process that has it open keeps the shared file beside it all the time. A change gives a file a
    new time, unless it came within the same clock tick.
    """
    before = _state(path)
    if any(held and abs(time.time_ns() - held[2]) < _TICK_NS for held in before):
        return False
    for ending in ("", *_LOGS):
        target = _file(copy, ending)
        target.unlink(missing_ok=True)
        if _file(path, ending).exists():
            shutil.copyfile(_file(path, ending), target)
    same = all(
        _same_bytes(_file(path, ending), _file(copy, ending))
        for ending in ("", *_LOGS)
        if _file(copy, ending).exists()
    )
    return same and _state(path) == before


def _state(path: Path) -> list[tuple[int, ...] | None]:
    """Return file system data that any change to the archive or its log alters."""
    states: list[tuple[int, ...] | None] = []
    for ending in ("", *_LOGS, "-shm"):
        try:
            held = _file(path, ending).stat()
            states.append((held.st_ino, held.st_size, held.st_mtime_ns))
        except FileNotFoundError:
            states.append(None)
    return states


def _same_bytes(one: Path, other: Path) -> bool:
    """Return whether two files are equal, by reading both again."""
    try:
        with one.open("rb") as first, other.open("rb") as second:
            while True:
                piece = first.read(_PIECE)
                if piece != second.read(_PIECE):
                    return False
                if not piece:
                    return True
    except FileNotFoundError:
        return False
