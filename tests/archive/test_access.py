"""Archives in folders that cannot be written, beside others' writing, and on a full disk."""

from __future__ import annotations

import contextlib
import gzip
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.database import access
from hostlink.archive.database.access import Access, InUseError, find_access, private_copy
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
FILES = Path(__file__).parent / "files"


@pytest.fixture
def filled(path: Path, content: MakeContent) -> Path:
    """An archive that nobody has open, written some time ago."""
    with Archive.open(path) as archive:
        for name in ("TIDE", "MOON"):
            archive.keep(name, content(f"10 REM {name}\n"), Origin("file"))
    os.utime(path, (1_900_000_000, 1_900_000_000))
    return path


@pytest.fixture
def shut(monkeypatch: pytest.MonkeyPatch) -> Callable[[Path], None]:
    """Makes a file or folder look as if it could not be written (root may write anywhere)."""
    closed: set[Path] = set()
    real = os.access

    def ask(asked: str | Path, mode: int) -> bool:
        return real(asked, mode) and not (mode == os.W_OK and Path(asked) in closed)

    monkeypatch.setattr(access.os, "access", ask)
    return closed.add


def test_where_all_is_open_the_file_itself_is_used(filled: Path) -> None:
    """No copy, no lock on others."""
    assert find_access(filled, read_only=False) == Access(filled, read_only=False)
    assert find_access(filled, read_only=True) == Access(filled, read_only=True)


def test_a_file_that_cannot_be_written_is_opened_to_be_read(
    filled: Path, shut: Callable[[Path], None]
) -> None:
    """Its folder can be, so SQLite may keep its log beside it."""
    shut(filled)
    assert find_access(filled, read_only=False) == Access(filled, read_only=True)
    with Archive.open(filled) as archive:
        assert archive.read_only and len(archive.programs()) == 2


def test_in_a_folder_that_cannot_be_written_a_copy_is_read(
    filled: Path, shut: Callable[[Path], None], tmp_path: Path
) -> None:
    """Nothing is made beside it, and the copy goes with the archive; a duplicate can be made."""
    shut(filled.parent)
    with Archive.open(filled) as archive:
        assert archive.read_only and archive.path == filled
        assert [one.name for one in archive.programs()] == ["MOON", "TIDE"]
        assert archive.prove().clean
        assert archive.duplicate(tmp_path / "duplicate.sqlite3") == ()
        copy = archive._access.path
        assert copy != filled and copy.exists()
        with pytest.raises(ArchiveError, match="is read-only"):
            archive.retire("TIDE")
    assert not copy.parent.exists()
    assert [file.name for file in filled.parent.iterdir()] == [filled.name]


def test_an_archive_that_somebody_has_open_there_is_read_beside_them(
    filled: Path, shut: Callable[[Path], None], content: MakeContent
) -> None:
    """What they keep is seen at once, also what is in their log only."""
    with Archive.open(filled) as writer:
        writer.keep("THIRD", content("10 REM 3\n"), Origin("file"))
        shut(filled.parent)
        with Archive.open(filled) as archive:
            assert archive._access == Access(filled, read_only=True)
            assert len(archive.programs()) == 3
            writer.keep("FOURTH", content("10 REM 4\n"), Origin("file"))
            assert len(archive.programs()) == 4


def test_a_log_left_by_a_crash_is_read_too(
    filled: Path, shut: Callable[[Path], None], content: MakeContent, tmp_path: Path
) -> None:
    """Acknowledged revisions may be in the log only, and nobody is there to bring them over."""
    crashed = tmp_path / "crashed" / filled.name
    crashed.parent.mkdir()
    with Archive.open(filled) as writer:
        writer.keep("THIRD", content("10 REM 3\n"), Origin("file"))
        for ending in ("", "-wal"):
            shutil.copy(f"{filled}{ending}", f"{crashed}{ending}")
    for file in crashed.parent.iterdir():
        os.utime(file, (1_900_000_000, 1_900_000_000))
    shut(crashed.parent)
    with Archive.open(crashed) as archive:
        assert len(archive.programs()) == 3 and archive.prove().clean


def test_a_file_that_changes_while_it_is_copied_is_copied_again(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A copy counts only if the file was the same before and after."""
    copies: list[str] = []
    real = shutil.copyfile

    def copying(source: Path, target: Path) -> None:
        copies.append(Path(source).name)
        real(source, target)
        if len(copies) < 3:
            os.utime(filled, (1_900_000_000 + len(copies), 1_900_000_000 + len(copies)))

    monkeypatch.setattr(access.shutil, "copyfile", copying)
    monkeypatch.setattr(access.time, "sleep", lambda _: None)
    private_copy(filled).close()
    assert copies == [filled.name] * 3


def test_a_file_that_was_written_just_now_is_not_trusted_to_stand_still(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within one tick of the file system's clock a change does not show; then it is waited for."""
    moments = iter([0, 5_000_000, 100_000_000, 100_000_000])
    written = filled.stat().st_mtime_ns
    waited: list[float] = []
    monkeypatch.setattr(access.time, "time_ns", lambda: written + next(moments))
    monkeypatch.setattr(access.time, "sleep", waited.append)
    private_copy(filled).close()
    assert len(waited) == 2


def test_a_file_that_never_stands_still_ends_in_one_error(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program that writes without end; no copy stays behind."""
    made: list[Path] = []
    real = tempfile.mkdtemp

    def making(prefix: str) -> str:
        made.append(Path(real(prefix=prefix)))
        return str(made[-1])

    monkeypatch.setattr(access.tempfile, "mkdtemp", making)
    monkeypatch.setattr(access.time, "time_ns", lambda: filled.stat().st_mtime_ns)
    monkeypatch.setattr(access.time, "sleep", lambda _: None)
    with pytest.raises(ArchiveError, match="Another program keeps writing"):
        private_copy(filled)
    Path(f"{filled}-shm").touch()
    with pytest.raises(InUseError):
        private_copy(filled, unless_in_use=True)
    assert len(made) == 2 and not any(folder.exists() for folder in made)


def test_a_temporary_folder_without_room_is_told(
    filled: Path, shut: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be made, where, and what to do."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(access.shutil, "copyfile", full)
    shut(filled.parent)
    with pytest.raises(ArchiveError, match="can be read only from a copy") as refused:
        Archive.open(filled)
    assert "No space left on device" in refused.value.what and "TMPDIR" in refused.value.advice


WRITER = """
import sys
from pathlib import Path
from hostlink.archive import Archive, Content, Origin
stop = Path(sys.argv[2])
for turn in range(10**6):
    with Archive.open(Path(sys.argv[1])) as archive:  # opened and closed again and again
        for number in range(3):
            text = f"10 REM {turn} {number}\\n" * 40
            content = Content(text.encode(), text, text, "practice", "latin-1")
            archive.keep(f"P{turn % 20}", content, Origin("edit"))
    if turn == 1:
        print("going", flush=True)
    if stop.exists():
        break
"""

READER = """
import os, sys, urllib.request  # before another user can read no module any more
from pathlib import Path
from hostlink.archive.database import access
from hostlink.archive import Archive
if sys.argv[3] == "user":
    os.setgid(65534)
    os.setuid(65534)
else:
    real = os.access
    access.os.access = lambda path, mode: mode != os.W_OK and real(path, mode)
seen = set()
for turn in range(int(sys.argv[2])):
    with Archive.open(Path(sys.argv[1])) as archive:
        findings = archive.prove().findings
        assert findings == (), findings
        for program in archive.programs():
            archive.content(archive.revision(program.name))
        seen.add("copy" if archive._access.private else "beside")
print("read", *sorted(seen))
"""


@pytest.mark.one_in(2)
@pytest.mark.parametrize(
    "how",
    [
        "as told",
        pytest.param(
            "user",
            marks=pytest.mark.skipif(
                not hasattr(os, "geteuid") or os.geteuid() != 0,
                reason="becoming another user needs the superuser",
            ),
        ),
    ],
)
def test_a_sound_archive_is_never_called_damaged_while_another_user_writes(how: str) -> None:
    """A process opens, writes and closes without pause; another one, which cannot write there,
    opens and proves it again and again: by a copy, or beside the writer."""
    folder = Path(tempfile.mkdtemp(prefix="hostlink-test-"))
    path, stop = folder / "archive.sqlite3", folder / "stop"
    folder.chmod(0o755)
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), str(stop)], stdout=subprocess.PIPE, text=True
    )
    try:
        assert writer.stdout is not None and writer.stdout.readline() == "going\n"
        done = subprocess.run(
            [sys.executable, "-c", READER, str(path), "12", how],
            capture_output=True,
            text=True,
            timeout=300,
        )
        assert done.stderr == "" and done.stdout.startswith("read")
        assert writer.poll() is None
    finally:
        stop.touch()
        writer.communicate(timeout=300)
        shutil.rmtree(folder)
    assert writer.returncode == 0


# --- a full disk ---------------------------------------------------------------------------------


def _no_room(code: int) -> None:
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorcode = code
    raise error


@pytest.mark.parametrize(
    "code", [sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_FULL, sqlite3.SQLITE_CANTOPEN]
)
def test_where_nothing_can_be_made_beside_it_the_archive_is_opened_alone(
    filled: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    """SQLite then keeps in memory what it would share with other processes."""
    real = access._try

    def full(way: Access) -> None:
        if not (way.alone or way.private):
            _no_room(code)
        real(way)

    monkeypatch.setattr(access, "_try", full)
    with Archive.open(filled) as archive:
        assert archive._access == Access(filled, read_only=False, alone=True)
        assert len(archive.programs()) == 2 and archive.prove().clean
    with Archive.open(filled, read_only=True) as archive:
        assert archive._access.alone and archive.read_only
        with pytest.raises(ArchiveError, match="read-only"):
            archive.retire("TIDE")


def test_where_it_cannot_be_opened_alone_either_a_copy_is_read(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on Windows, which has no such way; else the first error is told."""
    real = access._try

    def full(way: Access) -> None:
        if not way.private:
            _no_room(sqlite3.SQLITE_FULL)
        real(way)

    monkeypatch.setattr(access, "_try", full)
    with Archive.open(filled) as archive:
        assert archive._access.private and len(archive.programs()) == 2

    def nowhere(_: Access) -> None:
        _no_room(sqlite3.SQLITE_FULL)

    monkeypatch.setattr(access, "_try", nowhere)
    with pytest.raises(ArchiveError, match="could not be opened: the disk is full"):
        Archive.open(filled)


COMMANDS = """
import json, os, sys, tempfile
from pathlib import Path
from hostlink.archive import Archive, Content, Origin
from hostlink.cli.entry import run_line
disk, other = Path(sys.argv[1]), sys.argv[2]
path = disk / "archive.sqlite3"
os.environ["HOSTLINK_ARCHIVE"] = str(path)
text = "10 REM TIDE\\n"
with Archive.open(path) as archive:
    for name in ("TIDE", "MOON"):
        content = Content(text.encode(), text, text, "practice", "latin-1", 12)
        archive.keep(name, content, Origin("file"))
descriptor = os.open(disk / "fill", os.O_CREAT | os.O_WRONLY)
for size in (65536, 4096, 512, 1):
    try:
        while True:
            os.write(descriptor, bytes(size))
    except OSError as error:
        assert error.errno == 28, error
os.close(descriptor)
tempfile.tempdir = str(disk)  # the temporary folder is full too
told = {}
for words in (
    ["programs"], ["show", "TIDE"], ["history", "MOON"], ["find", "tide"], ["archive", "prove"],
    ["archive", "export", f"{other}/bag"], ["archive", "duplicate", f"{other}/copy.sqlite3"],
    ["give", "-o", f"{other}/given.zip"], ["note", "TIDE", "a note"],
):
    told[" ".join(words[:2])] = run_line(words)
os.unlink(disk / "fill")
told["again"] = run_line(["note", "TIDE", "a note"])
print(json.dumps(told))
"""


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own, of 4 MB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(disk)], capture_output=True
    )
    if mounted.returncode != 0:
        pytest.skip("mounting a small disk needs the superuser; the other tests simulate it")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.skipif(sys.platform != "linux", reason="the small disk is a Linux tmpfs")
def test_on_a_disk_without_a_byte_left_all_that_reads_works(
    small_disk: Path, tmp_path: Path
) -> None:
    """Show, prove, export and duplicate to another disk; a note is refused, kept when there is
    room again, and nothing is left behind."""
    done = subprocess.run(
        [sys.executable, "-c", COMMANDS, str(small_disk), str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert "Traceback" not in done.stderr
    told = json.loads(done.stdout.splitlines()[-1])
    refused = [words for words, status in told.items() if status]
    assert refused == ["note TIDE"], f"{told}\n{done.stderr}"
    assert "The note on TIDE was not kept: the disk is full." in done.stderr
    with Archive.open(tmp_path / "copy.sqlite3", create=False) as copy:
        assert copy.prove().clean and len(copy.programs()) == 2
    assert (tmp_path / "bag" / "bagit.txt").exists()
    assert [file.name for file in small_disk.iterdir()] == ["archive.sqlite3"]


@pytest.mark.skipif(sys.platform != "linux", reason="the small disk is a Linux tmpfs")
def test_an_older_archive_on_a_disk_without_room_is_read_by_a_renewed_copy(
    small_disk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It cannot be brought up to date where it is; with room again it is. No half copy stays."""
    path, kept = small_disk / "old.sqlite3", FILES / "schema-2.sqlite3.gz"
    path.write_bytes(gzip.decompress(kept.read_bytes()))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    before = path.read_bytes()
    with contextlib.suppress(OSError), (small_disk / "fill").open("wb", buffering=0) as fill:
        while True:
            fill.write(bytes(512))
    with Archive.open(path) as archive:
        assert archive.read_only and archive.prove().findings == ()
        assert [one.name for one in archive.programs()] == ["HAIL", "MOON", "TIDE"]
        archive.duplicate(tmp_path / "copy.sqlite3")
        with pytest.raises(ArchiveError, match="not kept"):
            archive.note("TIDE", "a note")
    assert path.read_bytes()[100:] == before[100:]
    assert not list(small_disk.glob("*schema-2*"))
    (small_disk / "fill").unlink()
    with Archive.open(path) as archive:
        archive.note("TIDE", "a note")
        assert archive.prove().findings == ()


def test_no_private_copy_outlives_its_process(filled: Path, tmp_path: Path) -> None:
    """Also where it was not closed."""
    code = (
        "import sys; from pathlib import Path; "
        "from hostlink.archive.database.access import private_copy; "
        "copy = private_copy(Path(sys.argv[1])); print(copy.path.parent)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(filled)],
        capture_output=True,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
        timeout=300,
    )
    folder = Path(done.stdout.strip())
    assert done.returncode == 0 and folder.parent == tmp_path and not folder.exists()


@pytest.fixture
def broken_off(filled: Path, tmp_path: Path) -> Path:
    """An archive without WAL, as on a file system that has none, whose writer was cut off: pages of
    an unfinished transaction are in the file, and the journal beside it says how to undo them."""
    conn = sqlite3.connect(filled, isolation_level=None)
    conn.execute("PRAGMA journal_mode = DELETE")
    conn.execute("PRAGMA cache_size = 1")  # so that pages are written before the end
    conn.execute("BEGIN")
    conn.execute(
        "WITH RECURSIVE n(i) AS (SELECT 100 UNION ALL SELECT i + 1 FROM n WHERE i < 300) "
        "INSERT INTO notes (id, uuid, program_id, text, noted_at) "
        "SELECT i, 'u' || i, 1, hex(zeroblob(400)), '' FROM n"
    )
    path = tmp_path / "cut" / filled.name
    path.parent.mkdir()
    for ending in ("", "-journal"):
        shutil.copy(f"{filled}{ending}", f"{path}{ending}")
        os.utime(f"{path}{ending}", (1_900_000_000, 1_900_000_000))
    conn.close()
    return path


@pytest.mark.one_in(3)
@pytest.mark.parametrize("closed", ["nothing", "file", "folder"])
def test_a_write_that_was_broken_off_is_undone_for_who_only_reads_too(
    broken_off: Path, shut: Callable[[Path], None], closed: str
) -> None:
    """In the file where that may be written, else in a copy; it was called read-only once."""
    if closed != "nothing":
        shut(broken_off if closed == "file" else broken_off.parent)
    before = broken_off.read_bytes()
    with Archive.open(broken_off, read_only=True) as archive:
        assert len(archive.programs()) == 2
        assert archive.prove().findings == ()
    assert (broken_off.read_bytes() == before) == (closed != "nothing")
