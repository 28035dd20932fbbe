"""Promise 4: what was acknowledged survives; what was refused leaves nothing."""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
Snapshot = Callable[[Path], dict[str, list[tuple[object, ...]]]]

SAVER = """
import sys
from pathlib import Path
from hostlink.archive import Archive, Content, Origin
archive = Archive.open(Path(sys.argv[1]))
for turn in range(10**9):
    text = f"10 PRINT {sys.argv[2]}, {turn}\\n" + "20 REM HIGH WATER AND LOW WATER\\n" * 30
    content = Content(text.replace("\\n", "\\r\\n").encode(), text, text, "practice", "latin-1")
    number = archive.keep("TIDE", content, Origin("board", captures=2)).revision.number
    sys.stdout.write(f"{number} {content.sha256}\\n")
    sys.stdout.flush()
"""


@pytest.mark.slow
def test_promise_4_acknowledged_revision_survives_kill(path: Path) -> None:
    """24 times a saving process is killed at a seeded moment; no acknowledged revision is lost."""
    chance = random.Random(4)
    acknowledged: dict[int, str] = {}
    for life in range(24):
        child = subprocess.Popen(
            [sys.executable, "-c", SAVER, str(path), str(life)],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert child.stdout is not None
        heard = [child.stdout.readline() for _ in range(chance.randint(1, 8))]
        until = time.perf_counter() + chance.uniform(0, 0.004)
        while time.perf_counter() < until:
            pass  # a moment between two commits or within one
        child.kill()
        rest, _ = child.communicate(timeout=300)
        for line in [*heard, *rest.splitlines(keepends=True)]:
            if line.endswith("\n"):
                number, sha256 = line.split()
                assert int(number) not in acknowledged
                acknowledged[int(number)] = sha256
    assert len(acknowledged) >= 24
    with Archive.open(path, create=False) as archive:
        kept = {one.number: one.sha256 for one in archive.history("TIDE")}
        assert acknowledged.items() <= kept.items()
        assert sorted(kept) == list(range(1, len(kept) + 1))
        assert archive.prove().findings == ()
        for revision in archive.history("TIDE"):
            assert archive.content(revision).sha256 == revision.sha256


def _long(content: MakeContent, turn: int) -> Content:
    """A listing of its own for each turn, of a few pages in the file."""
    chance = random.Random(turn)
    return content("".join(f"{n} REM {chance.getrandbits(400):x}\n" for n in range(10, 200, 10)))


def _keep(archive: Archive, content: MakeContent, turn: int) -> None:
    archive.keep("TIDE", _long(content, turn), Origin("edit"))


def _keep_new(archive: Archive, content: MakeContent, turn: int) -> None:
    archive.keep(f"NEW {turn}", _long(content, turn), Origin("edit"), title="A new one")


def _rescue(archive: Archive, content: MakeContent, turn: int) -> None:
    archive.rescue(_long(content, turn), Origin("rescue"))


def _note(archive: Archive, _: MakeContent, turn: int) -> None:
    archive.note("TIDE", f"note {turn} " * 400)


def _tag(archive: Archive, _: MakeContent, turn: int) -> None:
    archive.tag("TIDE", f"tag-{turn}-a", f"tag-{turn}-b", f"tag-{turn}-c")


def _untag(archive: Archive, _: MakeContent, turn: int) -> None:
    archive.untag("TIDE", "sea")
    archive.begin_event("x", detail={"turn": turn, "more": "y" * 3000})


def _use(archive: Archive, _: MakeContent, turn: int) -> None:
    if turn % 2:
        archive.bring_back("TIDE")
    else:
        archive.retire("TIDE")


def _board(archive: Archive, _: MakeContent, turn: int) -> None:
    archive.board_seen(location=f"practice://{turn}" + "x" * 2000)


def _label(archive: Archive, _: MakeContent, turn: int) -> None:
    archive.board_label(archive.boards()[0].uuid, f"label {turn}")
    archive.board_seen(location=f"practice://{turn}" + "x" * 2000)


def _host_copy(archive: Archive, content: MakeContent, turn: int) -> None:
    bigger = content("".join(f"{n} REM {n:0200}\n" for n in range(30 * (turn + 1))))
    archive.set_host_copy(archive.board("Red").uuid, bigger, proven=True)


def _event(archive: Archive, _: MakeContent, turn: int) -> None:
    with archive.event("load", detail={"turn": turn, "more": "y" * 3000}) as job:
        job.detail["after"] = "z" * 3000


WRITES = [
    _keep,
    _keep_new,
    _rescue,
    _note,
    _tag,
    _untag,
    _use,
    _board,
    _label,
    _host_copy,
    _event,
]


@pytest.fixture
def begun(archive: Archive, content: MakeContent) -> Archive:
    """An archive with a program, a tag and a board."""
    archive.keep("TIDE", content("10 A\n"), Origin("file"))
    archive.tag("TIDE", "sea")
    board = archive.board_seen(location="practice://red")
    archive.board_label(board.uuid, "Red")
    return archive


@pytest.mark.one_in(6)
@pytest.mark.parametrize("write", WRITES, ids=lambda write: write.__name__.strip("_"))
def test_promise_4_a_full_disk_leaves_nothing_half_written(
    begun: Archive, path: Path, content: MakeContent, snapshot: Snapshot, write: Callable[..., None]
) -> None:
    """Each writing method on a full disk is one clear error; what was there before stays."""
    with begun.writing("x") as db:
        pages = db.execute("PRAGMA page_count").fetchone()[0]
    with begun.reading("x") as db:
        db.execute(f"PRAGMA max_page_count = {pages + 2}")
    before = snapshot(path)
    for turn in range(400):
        try:
            write(begun, content, turn)
        except ArchiveError as error:
            assert "was not kept: the disk is full" in str(error)
            assert "still there" in error.kept
            break
        before = snapshot(path)
    else:
        pytest.fail("the disk never became full")
    after = snapshot(path)
    # A method that makes two writes may have ended one of them; rows are whole either way.
    if write not in (_untag, _label, _event):
        assert after == before
    with begun.reading("x") as db:
        db.execute("PRAGMA max_page_count = 1073741823")
    assert begun.prove().findings == ()
    write(begun, content, 1000)
    assert begun.prove().findings == ()


@pytest.mark.parametrize("write", WRITES, ids=lambda write: write.__name__.strip("_"))
def test_promise_4_a_read_only_archive_is_said_plainly(
    begun: Archive, path: Path, content: MakeContent, snapshot: Snapshot, write: Callable[..., None]
) -> None:
    """Each writing method on a read-only archive is one clear error, and reading goes on."""
    begun.close()
    before = snapshot(path)
    with Archive.open(path, read_only=True) as archive:
        with pytest.raises(ArchiveError, match=r"was not kept: the archive .* is read-only"):
            write(archive, content, 0)
        with pytest.raises(ArchiveError, match="read-only"):
            archive.rebuild()
        assert archive.program("TIDE").tags == ("sea",)
        assert len(archive.find("tide")) == 1
    assert snapshot(path) == before


LIMITED = """
import resource, sys
from pathlib import Path
from hostlink.archive import Archive, Content, Origin
from hostlink.errors import ArchiveError
archive = Archive.open(Path(sys.argv[1]))
resource.setrlimit(resource.RLIMIT_FSIZE, (900_000, 900_000))
try:
    for turn in range(1000):
        text = f"10 PRINT {turn}\\n" + "".join(f"{n} REM {n * turn:0500}\\n" for n in range(40))
        content = Content(text.encode(), text, text, "practice", "latin-1")
        print(archive.keep("TIDE", content, Origin("edit")).revision.number, flush=True)
except ArchiveError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits are POSIX")
def test_promise_4_a_write_the_system_refuses_leaves_nothing_half_written(path: Path) -> None:
    """The system itself refuses to let the files grow; all acknowledged revisions stay."""
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path)], capture_output=True, text=True, timeout=120
    )
    *numbers, error = done.stdout.splitlines()
    assert "The new revision of TIDE was not kept: the disk" in error
    assert len(numbers) > 3
    with Archive.open(path) as archive:
        assert [one.number for one in archive.history("TIDE")] == [int(n) for n in numbers]
        assert archive.prove().findings == ()


ONLY_READER = """
import os, sys
from pathlib import Path
from hostlink.archive import Archive, Content, Origin
from hostlink.errors import ArchiveError
# Whoever that is may not be allowed to read this Python, which loads some modules at their first
# use: so all of them are used before.
with Archive.open(Path(sys.argv[2])) as other:
    other.keep("OLD", Content(b"x", "x", "x", "p", "latin-1"), Origin("edit"))
if os.geteuid() == 0:  # permissions do not bind the superuser, so become somebody else
    os.setgid(65534)
    os.setuid(65534)
with Archive.open(Path(sys.argv[1])) as archive:
    print(archive.read_only, [program.name for program in archive.programs()])
    try:
        archive.keep("NEW", Content(b"x", "x", "x", "p", "latin-1"), Origin("edit"))
    except ArchiveError as error:
        print(error)
"""


@pytest.fixture
def shut_folder() -> Iterator[Path]:
    """A folder that anybody may look into, outside the test runner's private one."""
    folder = Path(tempfile.mkdtemp())
    yield folder
    folder.chmod(0o755)
    for file in folder.iterdir():
        file.unlink()
    folder.rmdir()


@pytest.mark.skipif(sys.platform == "win32", reason="folder permissions are POSIX")
def test_an_archive_in_a_folder_that_cannot_be_written_is_read(
    shut_folder: Path, content: MakeContent, tmp_path: Path
) -> None:
    """On a read-only medium an archive opens by itself for reading, and says so on writing."""
    path = shut_folder / "archive.sqlite3"
    with Archive.open(path) as archive:
        archive.keep("TIDE", content("10 A\n"), Origin("file"))
    path.chmod(0o444)
    shut_folder.chmod(0o555)
    done = subprocess.run(
        [sys.executable, "-c", ONLY_READER, str(path), str(tmp_path / "other.sqlite3")],
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0] == "True ['TIDE']"
    assert "The new revision of NEW was not kept" in lines[1] and "is read-only" in lines[1]
    assert [file.name for file in shut_folder.iterdir()] == ["archive.sqlite3"]
