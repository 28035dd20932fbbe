"""Open the archive file: one connection for each thread, transactions, and clear errors."""

from __future__ import annotations

import contextlib
import threading
import uuid
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Self

from sqlite_utils import Database

from hostlink.archive.database.access import Access
from hostlink.archive.database.database_errors import FAULTS, moved, not_kept, not_read
from hostlink.archive.database.opening import open_file
from hostlink.archive.times import utc_now, utc_text
from hostlink.errors import ArchiveError


class ArchiveFile:
    """An open archive file, the base of all parts of the archive.

    Any thread may use it, and each gets its own connection. A new thread with the identifier of an
    ended one reuses its connection.
    """

    def __init__(self, path: Path, access: Access, now: Callable[[], datetime]) -> None:
        self.path = path
        self._access = access
        self._now = now
        self._lock = threading.Lock()
        self._connections: dict[int, Database] = {}
        self._closed = False
        self._file = _file_at(path)

    @classmethod
    def open(
        cls,
        path: Path,
        *,
        create: bool = True,
        read_only: bool = False,
        now: Callable[[], datetime] = utc_now,
    ) -> Self:
        """Open the archive at path. create: make a missing file, with its folder.

        read_only: never write. An archive in a file or folder that cannot be written opens
        read-only, and every write raises. now: the clock for stored times. Raises ArchiveError if
        the file is not an archive, has a newer schema, or cannot be used.
        """
        path = Path(path)
        return cls(path, open_file(path, create=create, read_only=read_only, now=now), now)

    @property
    def read_only(self) -> bool:
        """Return whether writing is impossible."""
        return self._access.read_only

    @property
    def changes(self) -> int:
        """Return a number that changes whenever another connection writes the archive."""
        with self.reading("The archive") as db:
            return int(db.execute("PRAGMA data_version").fetchone()[0])

    def close(self) -> None:
        """Close the connections of all threads. Further calls do nothing."""
        with self._lock:
            self._closed = True
            while self._connections:
                self._connections.popitem()[1].close()
        self._access.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextlib.contextmanager
    def reading(self, what: str) -> Iterator[Database]:
        """Yield a connection for reading. what: the subject of the error if that fails."""
        try:
            yield self._database()
        except FAULTS as error:
            raise not_read(what, error, self.path) from error

    @contextlib.contextmanager
    def writing(self, what: str) -> Iterator[Database]:
        """Run one write transaction: when the block ends, all of it is on the disk, or none.

        It begins as a writer, so that nothing read in it can become outdated. Inside another
        transaction it becomes part of that one. what: the subject of the error, "<what> was not
        kept". Raises ArchiveError also if the file at the path has been replaced or removed since
        it was opened, because SQLite would go on writing to the old one, where nobody finds it.
        """
        try:
            db = self._database()
            if db.conn.in_transaction:
                with db.atomic():
                    yield db
                return
            if _file_at(self.path) != self._file:
                raise moved(what, self.path)
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.commit()
            except BaseException:
                db.rollback()
                raise
        except FAULTS as error:
            raise not_kept(what, error, self.path) from error

    @contextlib.contextmanager
    def undoing(self, what: str = "The trial") -> Iterator[None]:
        """Undo at the end of the block everything that it wrote to the archive.

        what: the subject of the error if the archive cannot be written.
        """
        with contextlib.suppress(_Undone):
            if self.read_only:
                yield
                return
            with self.writing(what):
                yield
                raise _Undone

    def _database(self) -> Database:
        """Return this thread's connection."""
        thread = threading.get_ident()
        with self._lock:
            if self._closed:
                raise ArchiveError(f"The archive {self.path} has been closed.")
            if thread not in self._connections:
                self._connections[thread] = self._access.connect()
            return self._connections[thread]

    def _time(self) -> str:
        return utc_text(self._now())


def _file_at(path: Path) -> tuple[int, int] | None:
    """Return the device and inode numbers of the file at a path, None if it cannot be reached."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


class _Undone(Exception):
    """Raised to roll back the transaction of `undoing`."""


def new_uuid() -> str:
    """Return a new random UUID (RFC 9562, version 4)."""
    return str(uuid.uuid4())
