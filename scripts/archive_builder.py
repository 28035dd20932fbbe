"""Builds a large archive quickly: programs, revisions, rescues, tags, notes and boards.

Rows go in by batches, but through the archive's own schema with all its triggers, and every
thousandth listing is compared with what the archive's own code makes of it. What is made depends
on the seed alone. As in life, a few programs at a time are worked on, and a revision changes one
to three lines of the one before.
"""

from __future__ import annotations

import bisect
import hashlib
import itertools
import random
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

from hostlink.archive import Archive
from hostlink.archive.database.checksums import checksum
from hostlink.archive.database.tables import TABLES
from hostlink.archive.listings import listing_columns, pack
from hostlink.archive.lookup import count_revisions
from hostlink.archive.search_words import spaced, words, words_only_in
from hostlink.archive.times import utc_text
from hostlink.board.profile.file import find_profile
from hostlink.jobs.listing_source import content_of
from hostlink.listing import Listing, canonical, measure

PROFILE = find_profile("practice")
CHARSET = "latin-1"
REVISIONS_EACH = 10  # on average
BOARDS = 40
TAGS = 60
WORDS = 3000
AT_A_TIME = 30  # programs that are worked on at the same time
SMALLEST, LARGEST = 300, 980  # bytes of a program on the board
CHECKED = 1000  # one listing of so many is compared with what the slow way makes
BATCH = 5000  # revisions in one transaction
YEARS_S = 25 * 365 * 24 * 3600


@dataclass
class Built:
    """An archive that was built, and what to ask it. content_bytes: all exact bytes of listings.

    lines: some that stand in listings.
    """

    path: Path
    programs: int
    revisions: int
    content_bytes: int = 0
    seconds: float = 0.0
    words: list[str] = field(default_factory=list)
    tags: list[str] = field(default_factory=list)
    boards: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)


class Vocabulary:
    """Invented words, the first ones far more frequent than the last (one over the rank)."""

    def __init__(self, choose: random.Random, size: int = WORDS) -> None:
        parts = [a + b for a in "BDFGKLMNPRSTV" for b in "AEIOU"]
        made: dict[str, None] = {}
        while len(made) < size:
            made["".join(choose.choice(parts) for _ in range(choose.choice([2, 2, 3])))] = None
        self.words = list(made)
        self._upto = list(itertools.accumulate(1 / (rank + 1) for rank in range(size)))

    def word(self, choose: random.Random) -> str:
        return self.words[bisect.bisect(self._upto, choose.random() * self._upto[-1])]

    def some(self, choose: random.Random, most: int) -> str:
        return " ".join(self.word(choose) for _ in range(choose.randint(1, most)))


def a_line(choose: random.Random, vocabulary: Vocabulary) -> str:
    """The text of a line; some have no blank between keyword and number."""
    kind, target = choose.randrange(10), 10 * choose.randint(1, 99)
    blank = choose.choice(["", " ", " ", " "])
    if kind <= 2:
        return f'PRINT "{vocabulary.some(choose, 5)}"'
    if kind == 3:
        return f"GOSUB{blank}{target}"
    if kind == 4:
        return f"GOTO{blank}{target}"
    if kind == 5:
        return f"REM {vocabulary.some(choose, 5)}"
    if kind == 6:
        return f"IF A<{choose.randrange(200)} THEN {target}"
    letters = "ABCDEFGHIJ"
    return choose.choice(
        [
            f"LET {choose.choice(letters)}={choose.choice(letters)}+{choose.randrange(100)}",
            f"FOR I=1 TO {choose.randrange(1, 40)}",
            "NEXT I",
            "RETURN",
            f"INPUT {choose.choice(letters)}",
        ]
    )


@dataclass(frozen=True, slots=True)
class _Line:
    """One line, and what it adds to its listing. joined: words that show only when parted."""

    typed: str
    canonical: str
    cost: int
    words: tuple[str, ...]
    joined: tuple[str, ...]


@lru_cache(maxsize=50_000)
def _line(typed: str) -> _Line:
    """What the archive's own code makes of one line; many lines occur again and again."""
    listing = Listing.from_text(typed)
    held = tuple(dict.fromkeys(words(typed)))
    joined = words_only_in(spaced(typed), typed).split()
    cost = measure(listing, PROFILE.rules).total
    return _Line(typed, canonical(listing, PROFILE.rules), cost, held, tuple(joined))


def check(columns: dict[str, Any], raw: bytes, size: int) -> None:
    """Raise RuntimeError where the quick way differs from the archive's own."""
    slow = content_of(Listing.from_text(columns["text"]), raw, CHARSET, PROFILE)
    if {**listing_columns(slow), "size": slow.size_bytes} != {**columns, "size": size}:
        raise RuntimeError("the builder does not make what the archive's own code makes")


class _Work:
    """One program that is being worked on; its figures are carried on from line to line."""

    def __init__(
        self, row: int, revisions: int, choose: random.Random, vocabulary: Vocabulary
    ) -> None:
        self.row = row
        self.left = revisions
        self.number = 0
        self.parent: int | None = None
        self.cost = 0
        self._choose, self._vocabulary = choose, vocabulary
        self._lines: dict[int, _Line] = {}
        self._counts: Counter[str] = Counter()
        size, number = choose.randint(SMALLEST, LARGEST), 10
        while self.cost < size:
            self._put(number)
            number += 10

    def _put(self, number: int) -> None:
        """A new line, in place of one of that number."""
        old = self._lines.get(number)
        if old is not None:
            self.cost -= old.cost
            self._counts.subtract(old.words)
        new = self._lines[number] = _line(f"{number} {a_line(self._choose, self._vocabulary)}")
        self.cost += new.cost
        self._counts.update(new.words)

    def next_listing(self, *, from_board: bool) -> tuple[dict[str, Any], bytes]:
        """The columns of the next listing, as `listing_columns` gives them, and its bytes."""
        if self.number:
            for _ in range(self._choose.randint(1, 3)):
                self._put(self._choose.choice(list(self._lines)))
        self.number += 1
        self.left -= 1
        held = self._lines.values()
        text = "".join([f"{line.typed}\n" for line in held])
        settled = "".join([line.canonical for line in held])
        raw = (text.replace("\n", "\r\n") if from_board else text).encode("ascii")
        joined = dict.fromkeys(word for line in held for word in line.joined)
        return {
            "sha256": hashlib.sha256(raw).digest(),
            "canonical_sha256": hashlib.sha256(settled.encode()).digest(),
            "profile": PROFILE.name,
            "charset": CHARSET,
            "text": text,
            "raw": pack(raw, text) if from_board else None,
            "canonical": None if settled == text else pack(settled.encode(), text),
            "spaced_words": " ".join(word for word in joined if not self._counts[word]),
            "line_count": len(held),
        }, raw

    def a_line(self) -> str:
        """The text of one of its lines."""
        return self._choose.choice(list(self._lines.values())).typed.partition(" ")[2]


class Builder:
    """Fills one archive."""

    def __init__(self, path: Path, programs: int, seed: int) -> None:
        self._choose = random.Random(seed)
        self._vocabulary = Vocabulary(self._choose)
        self._at = datetime(2006, 1, 1, tzinfo=UTC)
        self.built = Built(path, programs, programs * REVISIONS_EACH)
        self._step = timedelta(seconds=YEARS_S / self.built.revisions)
        self.built.words = self._vocabulary.words
        self.built.tags = [f"tag-{n}" for n in range(TAGS)]
        self._ids: dict[str, int] = {}
        self._listings: dict[bytes, int] = {}
        self._rows: dict[str, list[dict[str, Any]]] = {}

    def run(self) -> Built:
        began = time.perf_counter()
        with Archive.open(self.built.path) as archive:
            self._boards(archive)
            for count, work in enumerate(self._in_order(), 1):
                self._revision(work)
                if count % BATCH == 0:
                    self._flush(archive)
            self._flush(archive)
            self._count(archive)
        self.built.seconds = time.perf_counter() - began
        return self.built

    def _boards(self, archive: Archive) -> None:
        for number in range(BOARDS):
            board = archive.board_seen(vid=0x1234, pid=1, serial=f"S{number:04}")
            archive.board_label(board.uuid, f"Board {number}")
            self.built.boards.append(f"Board {number}")

    def _in_order(self) -> Iterator[_Work]:
        """Which program gets a revision next."""
        choose, programs = self._choose, self.built.programs
        counts = [choose.randint(1, 2 * REVISIONS_EACH - 1) for _ in range(programs)]
        due = self.built.revisions - sum(counts)
        while due:
            at, step = choose.randrange(programs), 1 if due > 0 else -1
            if counts[at] + step >= 1:
                counts[at] += step
                due -= step
        waiting, active = iter(enumerate(counts, 1)), list[_Work]()
        while True:
            while len(active) < AT_A_TIME and (one := next(waiting, None)):
                active.append(_Work(*one, choose, self._vocabulary))
            if not active:
                return
            work = choose.choice(active)
            yield work
            if not work.left:
                active.remove(work)

    def _add(self, table: str, **values: Any) -> int:
        """Let a row wait for the next transaction; its id is the next one, or in values."""
        row = self._ids[table] = self._ids.get(table, 0) + 1
        self._rows.setdefault(table, []).append({"id": row, **values})
        return row

    def _uuid(self) -> str:
        return str(uuid.UUID(int=self._choose.getrandbits(128), version=4))

    def _revision(self, work: _Work) -> None:
        choose, self._at = self._choose, self._at + self._step
        at = utc_text(self._at)
        if not work.number:
            self._program(work.row, at)
        from_board = choose.random() < 0.5
        columns, raw = work.next_listing(from_board=from_board)
        if self._ids.get("revisions", 0) % CHECKED == 0:
            check(columns, raw, work.cost)
            self.built.lines.append(work.a_line())
        board = choose.randint(1, BOARDS) if from_board else None
        kept = {
            "archive_id": 1,
            "listing_id": self._listing(columns, len(raw)),
            "size_bytes": work.cost,
            "origin": "board" if from_board else "file",
            "origin_where": f"Board {board}" if from_board else f"listing-{work.row}.bas",
            "note": "",
            "captures": 2 if from_board else 0,
            "after_restart": 0,
            "unproven": "",
            "kept_at": at,
            "board_id": board,
        }
        work.parent = self._add(
            "revisions",
            uuid=self._uuid(),
            program_id=work.row,
            number=work.number,
            parent_id=work.parent,
            **kept,
        )
        if from_board and choose.random() < 0.1:
            number = self._ids.get("rescues", 0) + 1
            rescue = {**kept, "origin": "rescue"}
            self._add("rescues", uuid=self._uuid(), number=number, program_id=work.row, **rescue)

    def _program(self, row: int, at: str) -> None:
        choose, vocabulary = self._choose, self._vocabulary
        name, title = f"{vocabulary.word(choose)}-{row}", vocabulary.some(choose, 4).title()
        retired = at if choose.random() < 0.1 else None
        self._add("programs", id=row, uuid=self._uuid(), name=name, name_key=name.casefold(),
                  title=title, made_at=at, retired_at=retired, latest_id=None,
                  revision_count=0)  # fmt: skip
        for tag in choose.sample(self.built.tags, choose.randint(0, 3)):
            self._add("tags", program_id=row, tag=tag, tag_key=tag)
        if choose.random() < 0.2:
            text = vocabulary.some(choose, 8).lower()
            self._add("notes", uuid=self._uuid(), program_id=row, revision_id=None, text=text,
                      noted_at=at)  # fmt: skip

    def _listing(self, columns: dict[str, Any], size: int) -> int:
        held = self._listings.get(columns["sha256"])
        if held is None:
            self.built.content_bytes += size
            held = self._listings[columns["sha256"]] = self._add("listings", **columns)
        return held

    def _flush(self, archive: Archive) -> None:
        """Write all rows that wait, parents before children, in one transaction."""
        with archive.writing("The next batch") as db:
            for name in ("listings", "programs", "revisions", "rescues", "notes", "tags"):
                rows, table = self._rows.pop(name, []), TABLES[name]
                for row in rows:
                    row["checksum"] = checksum(table, [row[column] for column in table.summed])
                if rows:
                    names = ", ".join(rows[0])
                    marks = ", ".join(f":{column}" for column in rows[0])
                    db.conn.executemany(f"INSERT INTO {name} ({names}) VALUES ({marks})", rows)

    def _count(self, archive: Archive) -> None:
        """Note in each program how many revisions it has, and which is the latest."""
        with archive.writing("What the programs have") as db:
            for row in range(1, self.built.programs + 1):
                count_revisions(db, row)


def build(path: Path, programs: int, seed: int = 7) -> Built:
    """Make an archive of that many programs, ten revisions each on average, at a free path."""
    return Builder(path, programs, seed).run()
