"""Archive files with bytes changed, as an old disk leaves them: `soak_damage.py [--every N]`.

Each byte of a small archive that holds one of everything is flipped in turn, in several ways, and
all that can be asked is asked. What must hold:

1. An answer is the right one, or an error of hostlink's own, or a list that names what it left out.
2. Whatever an answer stumbled over, `prove` finds; so it does where a list is short without a word,
   which a damaged index of SQLite may make it.
3. Nothing is in a list that is not in the sound one, and nothing else is ever served.
4. What is kept into a damaged archive can be read back, or was refused.

tests/archive/test_flips.py takes some of the bytes. Here --every 1 takes all, which takes hours;
exit status 1 where something does not hold. soak_fuzz damages more than one byte at a time.
"""

from __future__ import annotations

import argparse
import dataclasses
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from soak_jobs import in_memory

from hostlink.archive import Archive, Content, Origin, RunEnd, RunText
from hostlink.archive.backups import BackupItem
from hostlink.archive.database import opening
from hostlink.archive.database.tables import CARRIED
from hostlink.archive.records import Found, Listed
from hostlink.errors import ArchiveError, HostlinkError
from hostlink.words import fold

PATTERNS = (0x01, 0x80, 0xFF)
SMALL_PAGE = 1024  # bytes; so that the small archive has pages of every kind
MOST_TOLD = 20


def _content(text: str) -> Content:
    raw = text.replace("\n", "\r\n").encode()
    return Content(raw, text, text.upper(), "practice", "latin-1", len(text))


def sound_file(path: Path, page_bytes: int = SMALL_PAGE) -> bytes:
    """The bytes of an archive with one of everything."""
    usual, opening._PAGE_BYTES = opening._PAGE_BYTES, page_bytes
    try:
        with Archive.open(path.with_name("other.sqlite3")) as other:
            other.keep("MOON", _content("10 rem full\n"), Origin("file", "moon.bas"))
        with Archive.open(path) as archive:
            _fill(archive)
            archive.merge_file(path.with_name("other.sqlite3"))
            with archive.reading("the file") as db:
                db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        opening._PAGE_BYTES = usual
        path.with_name("other.sqlite3").unlink(missing_ok=True)
    return path.read_bytes()


def _fill(archive: Archive) -> None:
    board = archive.board_seen(vid=1, pid=2, serial="S1", profile="practice")
    archive.board_label(board.uuid, "Red")
    archive.set_board_role(board.uuid, "computer")
    origin = Origin("board", "red", board.uuid, captures=2)
    for number in range(6):
        text = f"10 print {number}\n20 GOSUB900\n"
        newest = archive.keep("TIDE", _content(text), origin, title="Sea").revision
    archive.keep("EBB", _content("10 rem ebb\n"), Origin("file"))
    archive.keep(
        "PLAIN", Content(b"10 END\n", "10 END\n", "10 END\n", "p", "ascii"), Origin("edit")
    )
    archive.rescue(_content("10 a\n"), Origin("rescue", board_uuid=board.uuid), program="TIDE")
    archive.note("TIDE@2", "two")
    archive.note("TIDE", "slow")
    archive.tag("TIDE", "sea", "clock")
    archive.retire("EBB")
    archive.set_host_copy(board.uuid, _content("10 a\n"), proven=True, revision=newest)
    image = archive.keep_image(b"\x0c\x94" * 60, part="ATmega328P", name="one")
    write = archive.begin_write(
        board.uuid, image, previous=image, role="computer", part="ATmega328P", eeprom=b"\x07" * 8
    )
    archive.end_write(write, "done", "READY")
    items = [BackupItem("memory", _content("10 m\n"), 2),
             BackupItem("stored", _content("10 s\n"), 2, "ONE")]  # fmt: skip
    archive.keep_backup(board.uuid, items, profile="practice", banner="READY", free_bytes=9)
    with archive.event("load", board_uuid=board.uuid, program="TIDE") as record:
        record.revision = newest
    for line in (None, 20):
        end = RunEnd() if line is None else RunEnd("error", "no such line", line)
        archive.keep_run(
            RunText(("HIGH WATER 4", "LOW WATER 10"), 70, 1), end, seconds=1.5, revision=newest,
            board_uuid=board.uuid, profile="practice", command="RUN", typed=["4"],
        )  # fmt: skip


# --- what is asked -------------------------------------------------------------------------------

NEW = _content("10 new\n")
Ask = Callable[[Archive], Any]


def questions() -> dict[str, Ask]:
    """Everything that reads, by what it is called in troubles."""
    return {
        "programs": lambda it: it.programs(retired=None),
        "programs in use": lambda it: it.programs(),
        "program": lambda it: it.program("TIDE"),
        "tagged": lambda it: it.programs(tag="sea"),
        "history": lambda it: it.history("TIDE"),
        "latest": lambda it: it.revision("TIDE"),
        "revision": lambda it: it.revision("TIDE@2"),
        "merged": lambda it: it.revision("MOON"),
        "listing": lambda it: it.content(it.revision("TIDE")),
        "listings": lambda it: [it.content(it.revision(f"TIDE@{n}")) for n in range(1, 7)],
        "plain listing": lambda it: it.content(it.revision("PLAIN")),
        "runs": lambda it: it.runs("TIDE"),
        "run": lambda it: it.run("run@1"),
        "rescues": lambda it: it.rescues(),
        "rescue": lambda it: it.content(it.revision("rescue@1")),
        "find line": lambda it: it.find("gosub 900"),
        "find mixed": lambda it: it.find("sea print"),
        "find within": lambda it: it.find("", tag="sea", size=(1, 99), board="red"),
        "boards": lambda it: it.boards(),
        "board": lambda it: it.board("Red"),
        "role": lambda it: it.board_role(it.board("Red").uuid),
        "host copy": lambda it: it.host_copy(it.board("Red").uuid),
        "backups": lambda it: it.backups(),
        "backup": lambda it: it.backup("backup@1"),
        "writes": lambda it: [w for w in it.writes() if w.image.sound],
        "events": lambda it: it.events(),
        "events of": lambda it: it.events(program="TIDE", job="load"),
        "notes": lambda it: it.notes("TIDE"),
        "holds": lambda it: it.holds(_content("10 a\n")),
        "identity": lambda it: it.uuid,
        "carried": carried,
    }


def carried(archive: Archive) -> Listed[Any]:
    """All that an export would write."""
    found: list[Any] = []
    with archive.records() as records:
        for table in CARRIED:
            for record in records.of(table.name):
                found.append((table.name, sorted(record.items())))
                if "listing" in record:
                    found.append(("listing", records.listing(record["listing"])))
        return Listed(found, records.left_out)


# What may be short without a word, where an index of SQLite has lost an entry; prove finds that.
BY_INDEX = {"holds", "tagged", "find line", "find mixed", "find within", "host copy"}


NAMES = {"name", "program", "revision", "parent"}
"""Fields with the name of a program. A damaged row is still named if the folded name proves it,
which leaves the case of a letter unproven; a program is found in any case."""
FOUND_BY = {"line", "words"}
"""Fields of a result that say by what it was found, which an older revision may do as well."""


def answers(archive: Archive) -> dict[str, Any]:
    """What is answered to each question; an error for what is refused."""
    found: dict[str, Any] = {}
    for name, ask in questions().items():
        try:
            found[name] = ask(archive)
        except ArchiveError as error:
            found[name] = error
    return found


def wrong(right: dict[str, Any], given: dict[str, Any]) -> tuple[list[str], bool]:
    """What was served and is not right; and whether anything was not as in the sound archive."""
    troubles, stumbled = list[str](), False
    for name, answer in given.items():
        due = right[name]
        if isinstance(answer, ArchiveError):
            stumbled = True
            continue
        if _is_whole(answer, due):
            continue
        stumbled = True
        if isinstance(answer, list):
            if name.startswith("find"):
                due = due + _could_be_found(right)
            strangers = [each for each in answer if not any(_is_of(each, one) for one in due)]
            troubles += [f"{name}: {str(each)[:200]} is not right" for each in strangers]
        elif not (_is_of(answer, due) or (name in BY_INDEX and answer is None)):
            troubles.append(f"{name}: {str(answer)[:200]} is not right")
    return troubles, stumbled


def _is_whole(answer: Any, due: Any) -> bool:
    return bool(answer == due and not getattr(answer, "damaged", ()))


def _could_be_found(right: dict[str, Any]) -> list[Found]:
    """An older revision, where the index of words has lost the latest one."""
    (program,) = [each for each in right["programs"] if each.name == "TIDE"]
    return [Found(program, revision, "") for revision in right["history"]]


def _is_of(answer: Any, due: Any) -> bool:
    """Whether an answer is the right one, or lacks what a list names as damaged."""
    if answer == due:
        return True
    if isinstance(answer, tuple) and isinstance(due, tuple) and len(answer) == len(due):
        return all(map(_is_of, answer, due))
    if isinstance(answer, list | tuple) and isinstance(due, list | tuple):
        return all(any(_is_of(each, one) for one in due) for each in answer)
    if not dataclasses.is_dataclass(answer) or type(answer) is not type(due):
        return answer in (None, "", ())
    return all(
        _is_of(one := getattr(answer, field.name), other := getattr(due, field.name))
        or (field.name in NAMES and isinstance(one, str) and fold(one) == fold(other))
        for field in dataclasses.fields(answer)
        if field.name not in FOUND_BY
    )


def ask_all(path: Path, right: dict[str, Any]) -> list[str]:
    """Ask a damaged archive everything; what does not hold, in words."""
    return trial(path, right)[0]


def trial(path: Path, right: dict[str, Any]) -> tuple[list[str], bool]:
    """The same, and whether prove finds damage."""
    try:
        with Archive.open(path, create=False) as archive:
            given = answers(archive)
            troubles, stumbled = wrong(right, given)
            findings = archive.prove().findings
            if stumbled and not findings:
                names = [
                    name for name, answer in given.items() if not _is_whole(answer, right[name])
                ]
                troubles.append(f"prove says clean, and not right is: {', '.join(names)}")
            troubles += _write_into(archive, path, bool(findings))
            return troubles, bool(findings)
    except HostlinkError as error:
        return [] if str(error).isprintable() else [f"not fit to be shown: {error!r}"], True
    except Exception as error:  # noqa: BLE001 - whatever it is, it is what is looked for
        last = traceback.extract_tb(error.__traceback__)[-1]
        return [f"{type(error).__name__}: {error} ({last.line})"], True


def _write_into(archive: Archive, path: Path, damaged: bool) -> list[str]:
    """Duplicate it, keep something, change something; what does not hold, in words."""
    troubles = []
    copy = path.with_name("copy.sqlite3")
    try:
        if bool(archive.duplicate(copy)) != damaged:
            troubles.append("the duplicate does not say what prove says")
    except ArchiveError:
        if not damaged:
            troubles.append("a clean archive cannot be duplicated")
    copy.unlink(missing_ok=True)
    for name in ("TIDE", "NEW"):
        try:
            kept = archive.keep(name, NEW, Origin("file")).revision
            if archive.content(archive.revision(kept.spec)) != NEW:
                troubles.append(f"{name}: what was kept is something else")
        except ArchiveError:
            if not damaged:
                troubles.append(f"{name}: a clean archive does not keep")
    for change in (lambda: archive.retire("TIDE"), archive.rebuild):
        try:
            change()
        except ArchiveError:
            if not damaged:
                troubles.append("a clean archive cannot be changed")
    return troubles


# --- flipping ------------------------------------------------------------------------------------


def flips(sound: bytes, every: int, seed: int = 0) -> Iterator[tuple[int, int]]:
    """Places and patterns: all of bytes that are not zero, some of the others; one of `every`."""
    choose = random.Random(seed)
    for at, byte in enumerate(sound):
        for pattern in PATTERNS if byte else PATTERNS[:1]:
            if choose.randrange(every * (1 if byte else 10)) == 0:
                yield at, pattern


def flipped(sound: bytes, at: int, pattern: int) -> bytes:
    """The file with some bits of one byte changed."""
    return sound[:at] + bytes([sound[at] ^ pattern]) + sound[at + 1 :]


def clear_archive(path: Path) -> None:
    """Take an archive away, with the files that SQLite keeps beside it."""
    for ending in ("", "-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)


def clear(folder: Path) -> None:
    """Take every file of a trial away."""
    for file in folder.iterdir():
        file.unlink()


def flip_all(folder: Path, every: int, seed: int = 0) -> Iterator[tuple[str, list[str]]]:
    """Each trial and its troubles, in an empty folder."""
    path = folder / "archive.sqlite3"
    sound = sound_file(path)
    with Archive.open(path) as archive:
        right = answers(archive)
    assert not [name for name, answer in right.items() if isinstance(answer, Exception)]
    for at, pattern in flips(sound, every, seed):
        clear(folder)
        path.write_bytes(flipped(sound, at, pattern))
        yield f"byte {at} with {pattern:02X}", ask_all(path, right)


# --- for soak_fuzz -------------------------------------------------------------------------------


def damaged(choose: random.Random, sound: bytes, places: Sequence[int]) -> bytes:
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
        sound = sound_file(path)
        with Archive.open(path) as archive:
            right = answers(archive)
        held = [at for at, byte in enumerate(sound) if byte]
        # With pages of the schema damaged most files do not open at all.
        pages = range(len(sound) // SMALL_PAGE)
        schema = {page for page in pages if b"CREATE " in sound[page * SMALL_PAGE :][:SMALL_PAGE]}
        beyond = [at for at in held if at // SMALL_PAGE not in {0, *schema}]

        def read(choose: random.Random, _: bytes) -> None:
            clear(Path(name))
            path.write_bytes(damaged(choose, sound, beyond if choose.random() < 0.9 else held))
            troubles, is_damaged = trial(path, right)
            assert not troubles, troubles
            if is_damaged:
                raise ArchiveError("The archive is damaged, and nothing wrong was served of it.")

        yield read


def main(arguments: Sequence[str] | None = None) -> int:
    """Flip bytes and tell what does not hold; 0 where all does."""
    parser = argparse.ArgumentParser(
        prog="soak_damage.py", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--every", type=int, default=500, metavar="N", help="one flip of so many")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="which of them")
    options = parser.parse_args(arguments)
    began, trials, bad = time.monotonic(), 0, 0
    with tempfile.TemporaryDirectory(prefix="hostlink-soak-", dir=in_memory()) as name:
        for what, troubles in flip_all(Path(name), max(1, options.every), options.seed):
            trials += 1
            bad += bool(troubles)
            for each in troubles if bad <= MOST_TOLD else ():
                print(f"{what}: {each}", file=sys.stderr, flush=True)
    seconds = time.monotonic() - began
    print(f"{trials:,} flips in {seconds:.0f} s: {bad:,} after which something does not hold.")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
