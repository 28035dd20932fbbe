"""Transactions, threads, processes, and SQLite's errors said as ours."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.database import opening as opening_module
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


def test_eight_threads_on_one_archive_number_without_collision(
    archive: Archive, content: MakeContent
) -> None:
    """Every keep of every thread gets a number of its own, without gaps."""
    numbers: list[int] = []
    errors: list[BaseException] = []
    start = threading.Barrier(8)

    def keeping(thread: int) -> None:
        try:
            start.wait()
            for turn in range(6):
                text = f"10 PRINT {thread}, {turn}\n"
                numbers.append(archive.keep("TIDE", content(text), Origin("edit")).revision.number)
        except BaseException as error:  # noqa: BLE001 - handed to the test below
            errors.append(error)

    threads = [threading.Thread(target=keeping, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert sorted(numbers) == list(range(1, 49))
    assert archive.prove().clean


KEEPER = """
import sys
from pathlib import Path
from hostlink.archive import Archive, Content, Origin
with Archive.open(Path(sys.argv[1])) as archive:
    for turn in range(15):
        text = f"10 PRINT {sys.argv[2]}, {turn}\\n"
        content = Content(text.encode(), text, text, "practice", "latin-1")
        print(archive.keep("TIDE", content, Origin("edit")).revision.number)
        archive.rescue(content, Origin("rescue"))
"""


def test_two_processes_on_one_archive_number_without_collision(path: Path) -> None:
    """Two hostlinks may save at once, into an archive that neither had found there."""
    children = [
        subprocess.Popen(
            [sys.executable, "-c", KEEPER, str(path), str(number)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in (1, 2)
    ]
    outputs = [child.communicate(timeout=120) for child in children]
    assert [errors for _, errors in outputs] == ["", ""]
    numbers = [int(line) for output, _ in outputs for line in output.split()]
    assert sorted(numbers) == list(range(1, 31))
    with Archive.open(path) as archive:
        assert archive.prove().clean
        assert [one.number for one in archive.rescues()] == list(range(30, 0, -1))


def test_a_locked_archive_is_waited_for_and_then_said_plainly(
    path: Path, content: MakeContent, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program that holds the archive leads to one clear error, and nothing is half kept."""
    monkeypatch.setattr(opening_module, "BUSY_SECONDS", 0.05)
    with Archive.open(path) as archive:
        archive.keep("TIDE", content("10 A\n"), Origin("edit"))
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(
            ArchiveError, match="new revision of TIDE was not kept: another program"
        ):
            archive.keep("TIDE", content("10 B\n"), Origin("edit"))
        assert archive.revision("TIDE").line_count == 1  # reading goes on meanwhile
        other.execute("ROLLBACK")
        other.close()
        assert archive.keep("TIDE", content("10 B\n"), Origin("edit")).revision.number == 2


def test_a_transaction_that_fails_leaves_nothing(archive: Archive, content: MakeContent) -> None:
    """What was kept inside a block that failed is gone; the next block works."""
    with pytest.raises(ZeroDivisionError), archive.writing("Both"):
        archive.keep("ONE", content("10 A\n"), Origin("edit"))
        raise ZeroDivisionError
    assert archive.programs() == []
    with archive.writing("Both"):
        archive.keep("ONE", content("10 A\n"), Origin("edit"))
        with pytest.raises(ArchiveError):
            archive.keep("", content("10 B\n"), Origin("edit"))
        archive.keep("TWO", content("10 B\n"), Origin("edit"))
    assert [program.name for program in archive.programs()] == ["ONE", "TWO"]


def test_a_closed_archive_says_so(archive: Archive, content: MakeContent) -> None:
    """Closing twice is no error; using it afterwards is a clear one."""
    archive.close()
    archive.close()
    with pytest.raises(ArchiveError, match="has been closed"):
        archive.programs()
    with pytest.raises(ArchiveError, match="has been closed"):
        archive.keep("TIDE", content("10 A\n"), Origin("edit"))


def test_the_end_of_the_block_closes_the_archive(path: Path) -> None:
    """Then no connection is left that would keep the file open."""
    with Archive.open(path) as opened:
        assert opened.programs() == []
    with pytest.raises(ArchiveError, match="has been closed"):
        opened.programs()


def test_an_archive_that_is_deleted_under_us_is_not_made_anew(archive: Archive, path: Path) -> None:
    """A thread that comes later finds the file gone, not an empty one."""
    for file in path.parent.iterdir():
        file.unlink()
    said: list[str] = []

    def later() -> None:
        try:
            archive.programs()
        except ArchiveError as error:
            said.append(str(error))

    thread = threading.Thread(target=later)
    thread.start()
    thread.join()
    assert len(said) == 1 and "does not let" in said[0]
    assert not path.exists()
