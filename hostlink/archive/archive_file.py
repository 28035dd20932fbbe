"""The open file: one connection a thread, transactions, and SQLite's errors said as ours."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlite_utils import Database

from hostlink.archive.database.access import Access
from hostlink.archive.database.faults import FAULTS, not_kept, not_read
from hostlink.archive.database.opening import open_file
from hostlink.archive.times import stored, utc_now
from hostlink.errors import ArchiveError


class ArchiveFile:
    """An archive's file, open. The parts of the archive build on this.

    Any thread may use it; each gets a connection of its own. A thread that takes over the
    identity of one that has ended takes over its idle connection too.
    """

    def __init__(self, path: Path, access: Access, now: Callable[[], datetime]) -> None:
        self.path = path
        self._access = access
        self._now = now
        self._lock = threading.Lock()
        self._connections: dict[int, Database] = {}
        self._closed = False

    @classmethod
    def open(
        cls,
        path: Path,
        *,
        create: bool = True,
        read_only: bool = False,
        now: Callable[[], datetime] = utc_now,
    ) -> Self:
        """Open the archive at path, making it (and its folder) where there is none and create.

        read_only: never write. An archive whose file or folder cannot be written opens read-only
        by itself; then every write raises. now: the wall clock for what is kept.
        Raises ArchiveError where the file is no archive, has a newer schema, or cannot be used.
        """
        path = Path(path)
        return cls(path, open_file(path, create=create, read_only=read_only, now=now), now)

    @property
    def read_only(self) -> bool:
        """Whether nothing can be written."""
        return self._access.read_only

    def close(self) -> None:
        """Close every thread's connection. May be called twice."""
        with self._lock:
            self._closed = True
            while self._connections:
                self._connections.popitem()[1].close()
        self._access.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def reading(self, what: str) -> Iterator[Database]:
        """A connection to read with; what is named in the error when that fails."""
        try:
            yield self._database()
        except FAULTS as error:
            raise not_read(what, error, self.path) from error

    @contextmanager
    def writing(self, what: str) -> Iterator[Database]:
        """One transaction, begun as a writer so that nothing read in it can be overtaken.

        All of it is on the disk when the block has ended, or none of it. Inside another one it
        becomes part of that. what is named in the error: "<what> was not kept".
        """
        try:
            db = self._database()
            if db.conn.in_transaction:
                with db.atomic():
                    yield db
                return
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.commit()
            except BaseException:
                db.rollback()
                raise
        except FAULTS as error:
            raise not_kept(what, error, self.path) from error

    def _database(self) -> Database:
        """This thread's connection."""
        thread = threading.get_ident()
        with self._lock:
            if self._closed:
                raise ArchiveError(f"The archive {self.path} has been closed.")
            if thread not in self._connections:
                self._connections[thread] = self._access.connect()
            return self._connections[thread]

    def _time(self) -> str:
        return stored(self._now())


def new_uuid() -> str:
    """A fresh random UUID (RFC 9562, version 4)."""
    return str(uuid.uuid4())
