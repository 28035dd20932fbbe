"""Archive files with bytes changed, as an old disk leaves them: each thing that can be asked.

Whatever a byte did, the answer is a result or an error of hostlink's own. That damage is noticed is
`Archive.prove`'s matter, which tests/archive/test_proof.py holds; here nothing may fall over.
"""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from soak_jobs import in_memory

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.backups import BackupItem
from hostlink.archive.tables import CARRIED
from hostlink.errors import HostlinkError

_PAGE = 8192  # bytes


def _content(text: str) -> Content:
    raw = text.replace("\n", "\r\n").encode()
    return Content(raw, text, text.upper(), "practice", "latin-1", len(text))


def sound_file(path: Path) -> tuple[bytes, str]:
    """The bytes of an archive with a little of everything, and the UUID of its board."""
    with Archive.open(path) as archive:
        board = archive.board_seen(vid=1, pid=2, serial="S1")
        archive.board_label(board.uuid, "Red")
        origin = Origin("board", "red", board.uuid, captures=2)
        for number in range(6):
            text = f"10 print {number}\n20 GOSUB900\n"
            newest = archive.keep("TIDE", _content(text), origin, title="Sea").revision
        archive.keep("EBB", _content("10 rem ebb\n"), Origin("file"))
        archive.rescue(_content("10 a\n"), Origin("rescue", board_uuid=board.uuid), program="TIDE")
        archive.note("TIDE@2", "two")
        archive.tag("TIDE", "sea")
        archive.retire("EBB")
        archive.set_host_copy(board.uuid, _content("10 a\n"), proven=True, revision=newest)
        image = archive.keep_image(b"\x0c\x94" * 60, part="ATmega328P", name="one")
        write = archive.begin_write(
            board.uuid, image, previous=image, role="computer", part="ATmega328P"
        )
        archive.end_write(write, "done")
        items = [BackupItem("memory", _content("10 m\n"), 2),
                 BackupItem("stored", _content("10 s\n"), 2, "ONE")]  # fmt: skip
        archive.keep_backup(board.uuid, items, profile="practice")
        with archive.reading("the file") as db:
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path.read_bytes(), board.uuid


def questions(archive: Archive, board: str) -> list[Callable[[], object]]:
    """Everything that can be asked of an archive, and some that change it."""
    new = _content("10 new\n")
    return [
        lambda: archive.programs(retired=None),
        lambda: archive.program("TIDE"),
        lambda: [archive.content(each) for each in archive.history("TIDE")],
        lambda: [archive.content(each) for each in archive.rescues()],
        lambda: archive.find("gosub 900"),
        lambda: archive.find("sea print"),
        lambda: archive.find("", tag="sea", size=(1, 99), board="red"),
        archive.boards,
        lambda: archive.host_copy(board),
        archive.backups,
        lambda: archive.backup("backup@1"),
        archive.writes,
        archive.events,
        lambda: archive.notes("TIDE"),
        lambda: archive.holds(new),
        lambda: _carry(archive),
        archive.prove,
        lambda: archive.keep("TIDE", new, Origin("file")),
        lambda: archive.retire("TIDE"),
        archive.rebuild,
    ]


def _carry(archive: Archive) -> None:
    """Read all that an export would."""
    with archive.cargo() as cargo:
        for table in CARRIED:
            for record in cargo.records(table.name):
                if "listing" in record:
                    cargo.listing(record["listing"])


def damaged(choose: random.Random, sound: bytes, places: list[int]) -> bytes:
    """The file with a few bytes changed; now and then cut off."""
    data = bytearray(sound)
    for _ in range(choose.choice([1, 1, 2, 5])):
        at, length = choose.choice(places), choose.choice([1, 1, 2, 8, 40])
        kind = choose.randrange(3)
        if kind == 0:
            data[at] ^= 1 << choose.randrange(8)
        else:
            data[at : at + length] = choose.randbytes(length) if kind == 1 else bytes(length)
    return bytes(data[: choose.randrange(len(sound)) if choose.random() < 0.02 else len(sound)])


@contextmanager
def damaged_archives() -> Iterator[Callable[[random.Random, bytes], None]]:
    """A reader for soak_fuzz: damages an archive by the seed and asks it everything."""
    with tempfile.TemporaryDirectory(prefix="hostlink-soak-", dir=in_memory()) as name:
        path = Path(name) / "archive.sqlite3"
        sound, board = sound_file(path)
        held = [at for at, byte in enumerate(sound) if byte]
        # With pages of the schema damaged most files do not open at all.
        pages = range(len(sound) // _PAGE)
        schema = {page for page in pages if b"CREATE " in sound[page * _PAGE :][:_PAGE]}
        beyond = [at for at in held if at // _PAGE not in {0, *schema}]

        def read(choose: random.Random, _: bytes) -> None:
            for other in Path(name).iterdir():
                other.unlink()
            path.write_bytes(damaged(choose, sound, beyond if choose.random() < 0.9 else held))
            refused: HostlinkError | None = None
            with Archive.open(path, create=False) as archive:
                for ask in questions(archive, board):
                    try:
                        ask()
                    except HostlinkError as error:
                        refused = error
            if refused is not None:
                raise refused

        yield read
