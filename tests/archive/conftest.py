"""An archive in a folder of the test's own, a clock that ticks once a second, and listings."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.database.tables import CARRIED
from hostlink.errors import ArchiveError

FIRST_EVENING = datetime(2031, 9, 3, 18, 30, tzinfo=UTC)


class Ticking:
    """A wall clock that moves on by one second each time it is asked."""

    def __init__(self) -> None:
        self.at = FIRST_EVENING

    def __call__(self) -> datetime:
        self.at += timedelta(seconds=1)
        return self.at


def make_content(
    text: str, *, profile: str = "practice", raw: bytes | None = None, upper: bool = True
) -> Content:
    """Content as a caller would give it: CR LF bytes, a canonical form in capitals, a size."""
    return Content(
        raw=text.replace("\n", "\r\n").encode("latin-1") if raw is None else raw,
        text=text,
        canonical=text.upper() if upper else text,
        profile=profile,
        charset="latin-1",
        size_bytes=len(text),
    )


def table_rows(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Everything in the ordinary tables, read with the plain sqlite3 module."""
    conn = sqlite3.connect(path)
    try:
        names = [
            row[0]
            for row in conn.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' "
                "AND name NOT LIKE 'listing_words%' AND name NOT LIKE 'program_words%' "
                "AND name NOT LIKE 'run_words%' "
                "ORDER BY name"
            )
        ]
        return {name: conn.execute(f"SELECT * FROM {name}").fetchall() for name in names}
    finally:
        conn.close()


@pytest.fixture
def content() -> Callable[..., Content]:
    """Makes content from text."""
    return make_content


@pytest.fixture
def snapshot() -> Callable[[Path], dict[str, list[tuple[object, ...]]]]:
    """Reads all rows of a file, to compare before and after."""
    return table_rows


class HeldRecords:
    """What an archive would carry at one moment, in memory, so that a test can change it."""

    def __init__(
        self, archive: Archive, *, programs: tuple[str, ...] = (), since: str = ""
    ) -> None:
        self.held: dict[str, list[dict[str, Any]]] = {}
        self.listings: dict[int, Content] = {}
        with archive.records(programs=programs, since=since) as records:
            for table in CARRIED:
                self.held[table.name] = list(records.of(table.name))
                for record in self.held[table.name]:
                    if "listing" in record:
                        self.listings[record["listing"]] = records.listing(record["listing"])
            self.left_out = records.left_out

    def of(self, table: str) -> Iterator[dict[str, Any]]:
        """The records of a table."""
        return iter(self.held[table])

    def listing(self, number: int) -> Content:
        """A listing by its number."""
        if number not in self.listings:
            raise ArchiveError("a listing is missing")
        return self.listings[number]


@pytest.fixture
def held_records() -> type[HeldRecords]:
    """Takes what an archive would carry into memory."""
    return HeldRecords


@pytest.fixture
def now() -> Ticking:
    """The clock that the archive of the test goes by."""
    return Ticking()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the archive of the test is."""
    return tmp_path / "class" / "archive.sqlite3"


@pytest.fixture
def archive(path: Path, now: Ticking) -> Iterator[Archive]:
    """A new archive."""
    with Archive.open(path, now=now) as opened:
        yield opened


@pytest.fixture
def from_file() -> Origin:
    """The plainest origin."""
    return Origin("file", "tide.bas")
