"""How an archive of decades answers: 1,000 and 10,000 programs; 100,000 with --full.

Each program has ten revisions on average; scripts/archive_builder.py makes them. Opening is the
median of several. Each kind of search is asked QUESTIONS questions drawn from what is there, words
by how frequent they are, each of them TURNS times. Every ask counts, the first one of a question
too: the figure is the time that 95 of a hundred asks stay under. Beside it `grep -rl` looks for
the same through the same listings as files, all in the system's memory.

A new revision is `Archive.keep`, a bare commit one row in a plain SQLite file beside the archive
with the same settings (WAL, synchronous FULL). Both are made in turn. A revision writes more than
one row and then waits for the disk as a bare commit does, so what is judged is how much longer it
takes: the median of the differences of the pairs. How many times longer that is depends on the
disk alone, and says nothing of hostlink.
"""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import archive_builder
from archive_builder import REVISIONS_EACH, Built, Vocabulary, build
from bench_report import Row, Section, Target

from hostlink.archive import Archive, Content, Origin

SIZES, FULL_SIZES = (1_000, 10_000), (1_000, 10_000, 100_000)
QUESTIONS, TURNS = 100, 3
COMMITS, OPENINGS, FLUSHES = 200, 15, 50
OPEN_MS, FIND_MS, REVISION_MS, SIZE_TIMES = 100, 30, 5, 2.2
KINDS = ("words", "line", "size", "tag", "board", "near", "month")
SHOWN = {
    "programs": "programs",
    "revisions": "revisions",
    "file_mb": "file, MB",
    "open_ms": "open, ms",
    **{f"{kind}_ms": f"{kind}, ms" for kind in KINDS},
    "grep_ms": "grep, ms",
}
LINE = "GOSUB 900"

Ask = Callable[[Archive], object]


def questions(built: Built) -> dict[str, list[Ask]]:
    """What is asked of an archive, by kind; seeded."""
    choose = random.Random(95)
    choose_slips = random.Random(96)
    vocabulary = Vocabulary(random.Random(7))

    def words(most: int) -> Ask:
        text = vocabulary.some(choose, most)
        return lambda archive: archive.find(text)

    def near() -> Ask:
        held = vocabulary.some(choose_slips, 3).split()
        at = choose_slips.randrange(len(held))
        held[at] = slip(held[at], choose_slips)
        text = " ".join(held)
        return lambda archive: archive.find(text, near=True)

    def line() -> Ask:
        text = choose.choice(built.lines)
        return lambda archive: archive.find(text)

    def size() -> Ask:
        low = choose.randint(300, 980)
        high = low + choose.choice([0, 9, 99, 599])
        return lambda archive: archive.find("", size=(low, high))

    def tag() -> Ask:
        text = choose.choice(built.tags)
        return lambda archive: archive.find("", tag=text)

    def board() -> Ask:
        text = choose.choice(built.boards)
        return lambda archive: archive.find("", board=text)

    def month() -> Ask:
        since = datetime(choose_slips.randint(2006, 2030), choose_slips.randint(1, 12), 1)
        return lambda archive: archive.find("", since=since, before=since + timedelta(days=30))

    kinds: dict[str, Callable[[], Ask]] = {
        "words": lambda: words(2),
        "line": line,
        "size": size,
        "tag": tag,
        "board": board,
        "near": near,
        "month": month,
    }
    asked = {kind: [make() for _ in range(QUESTIONS)] for kind, make in kinds.items()}
    asked["gosub 900"] = [lambda archive: archive.find(LINE)]
    return asked


def slip(word: str, choose: random.Random) -> str:
    """A word as it is typed wrong: two letters swapped, one lost, added or changed."""
    at = choose.randrange(1, len(word) - 1)
    letter = choose.choice("AEIOUNRST")
    return choose.choice(
        [
            word[:at] + word[at + 1] + word[at] + word[at + 2 :],
            word[:at] + word[at + 1 :],
            word[:at] + letter + word[at:],
            word[:at] + letter + word[at + 1 :],
        ]
    )


def ask_all(archive: Archive, asked: list[Ask]) -> float:
    """Seconds that 95 of a hundred asks stay under, each question asked TURNS times."""
    times = []
    for _ in range(TURNS):
        for ask in asked:
            began = time.perf_counter()
            ask(archive)
            times.append(time.perf_counter() - began)
    return sorted(times)[-(-95 * len(times) // 100) - 1]


def time_opening(path: Path) -> float:
    """Median seconds to open the archive and read its identity."""
    times = []
    for _ in range(OPENINGS):
        began = time.perf_counter()
        with Archive.open(path, create=False) as archive:
            assert archive.uuid
        times.append(time.perf_counter() - began)
    return statistics.median(times)


# --- durability ----------------------------------------------------------------------------------


def time_flush(folder: Path) -> float:
    """Median seconds to write 4,096 bytes and flush them to the disk."""
    times = []
    descriptor = os.open(folder / "flush", os.O_CREAT | os.O_WRONLY)
    try:
        for _ in range(FLUSHES):
            began = time.perf_counter()
            os.write(descriptor, os.urandom(4096))
            os.fsync(descriptor)
            times.append(time.perf_counter() - began)
    finally:
        os.close(descriptor)
        (folder / "flush").unlink()
    return statistics.median(times)


def time_commits(path: Path, commits: int) -> tuple[float, float]:
    """Median seconds of a bare commit of one row, and how much longer a new revision takes."""
    choose = random.Random(2)
    vocabulary = Vocabulary(choose)
    bare = sqlite3.connect(path.with_name("bare.sqlite3"), isolation_level=None)
    bare.execute("PRAGMA journal_mode = WAL")
    bare.execute("PRAGMA synchronous = FULL")
    bare.execute("CREATE TABLE held (id INTEGER PRIMARY KEY, text TEXT)")
    kept, plain = [], []
    with Archive.open(path, create=False) as archive:
        names = [program.name for program in archive.programs(limit=commits)]
        for turn in range(commits):
            listing = [
                f"{n} {archive_builder.a_line(choose, vocabulary)}" for n in range(10, 310, 10)
            ]
            text = "\n".join(listing) + "\n"
            content = Content(text.encode(), text, text, "practice", "latin-1", len(text))
            began = time.perf_counter()
            answer = archive.keep(names[turn % len(names)], content, Origin("file", "a file"))
            kept.append(time.perf_counter() - began)
            assert answer.is_new
            began = time.perf_counter()
            bare.execute("INSERT INTO held (text) VALUES (?)", (text,))
            plain.append(time.perf_counter() - began)
    bare.close()
    longer = (revision - commit for revision, commit in zip(kept, plain, strict=True))
    return statistics.median(plain), statistics.median(longer)


# --- plain files ---------------------------------------------------------------------------------


def write_files(path: Path, folder: Path) -> int:
    """Every revision as a file, a folder for each program; how many."""
    count = 0
    with Archive.open(path, create=False) as archive, archive.reading("the listings") as db:
        for name, number, text in db.execute(
            "SELECT name, number, text FROM revisions JOIN programs ON programs.id = program_id "
            "JOIN listings ON listings.id = listing_id ORDER BY program_id, number"
        ):
            place = folder / name[-2:] / name
            if number == 1:
                place.mkdir(parents=True)
            (place / f"{number}.bas").write_text(text, encoding="ascii")
            count += 1
    return count


def time_grep(folder: Path) -> tuple[float, int]:
    """Seconds of `grep -rlE` for the line, the best of TURNS, and how many files it names."""
    if shutil.which("grep") is None:
        raise RuntimeError("grep is not installed")
    times, files = [], 0
    for _ in range(TURNS):
        began = time.perf_counter()
        ran = subprocess.run(
            ["grep", "-rlE", "GOSUB ?900$", str(folder)],
            capture_output=True,
            text=True,
            timeout=600,
            check=True,
        )
        times.append(time.perf_counter() - began)
        files = ran.stdout.count("\n")
    return min(times), files


# --- all of it -----------------------------------------------------------------------------------


def measure(programs: int, folder: Path) -> Row:
    """Everything about one size of archive, made in an empty folder."""
    path = folder / "archive.sqlite3"
    built = build(path, programs)
    with Archive.open(path, create=False) as archive, archive.reading("the file") as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    row: dict[str, float | int | str | None] = {
        "programs": programs,
        "revisions": programs * REVISIONS_EACH,
        "build_s": round(built.seconds, 1),
        "file_mb": round(path.stat().st_size / 1e6, 1),
        "times_content": round(path.stat().st_size / built.content_bytes, 3),
        "open_ms": round(time_opening(path) * 1000, 2),
    }
    with Archive.open(path, create=False) as archive:
        for kind, asked in questions(built).items():
            row[f"{kind.replace(' ', '')}_ms"] = round(ask_all(archive, asked) * 1000, 2)
    files = folder / "files"
    write_files(path, files)
    seconds, _ = time_grep(files)
    row["grep_ms"] = round(seconds * 1000, 1)
    row["flush_ms"] = round(time_flush(folder) * 1000, 3)
    bare, longer = time_commits(path, COMMITS)
    row["bare_ms"], row["longer_ms"] = round(bare * 1000, 3), round(longer * 1000, 3)
    return row


def targets_of(rows: list[Row]) -> list[Target]:
    """What must hold of the largest archive measured."""
    last = rows[-1]
    size = f"{last['programs']:,} programs"
    return [
        Target.at_most(f"ms to open, {size}", _of(last, "open_ms"), OPEN_MS),
        *(
            Target.at_most(f"ms to find by {kind}, {size}", _of(last, f"{kind}_ms"), FIND_MS)
            for kind in (*KINDS, "gosub900")
        ),
        Target.at_most(f"file, times its content, {size}", _of(last, "times_content"), SIZE_TIMES),
        Target.at_least(
            f"times faster than grep, {size}",
            round(_of(last, "grep_ms") / _of(last, "gosub900_ms"), 1),
            1,
        ),
        Target.at_most(
            f"ms that a new revision takes longer than a bare commit, {size}",
            _of(last, "longer_ms"),
            REVISION_MS,
        ),
    ]


def _of(row: Row, name: str) -> float:
    value = row[name]
    assert isinstance(value, int | float)
    return float(value)


def run(sizes: tuple[int, ...] = SIZES) -> Section:
    """Build and measure one archive after the other."""
    rows: list[Row] = []
    for programs in sizes:
        with tempfile.TemporaryDirectory(prefix="hostlink-bench-") as name:
            rows.append(measure(programs, Path(name)))
    notes = [
        f"Searches: of {QUESTIONS} questions asked {TURNS} times each, 95 of a hundred asks stay "
        f"under the value; gosub900 is {LINE!r}.",
        f"bare, longer: medians of {COMMITS} commits and differences; flush: 4,096 bytes.",
        "",
    ]
    return Section("archive", rows, targets_of(rows), notes, SHOWN)


def run_full() -> Section:
    """The same with the largest archive too."""
    return run(FULL_SIZES)
