"""Finding programs and rescues by their words: in name, title, notes, tags, or in the listing.

All words must be there, in any order; some may be in the title and the rest in a listing. A word
of three or more letters also finds longer words that begin with it. `GOSUB900` and `GOSUB 900`
find each other, because the index holds run-together words both ways and so does the question.
Every listing ever kept is searched, the newest first.
"""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Iterable, Iterator

from sqlite_utils import Database

from hostlink.archive.boards import find_board
from hostlink.archive.lookup import RESCUE, read_rescue, revision_at
from hostlink.archive.names import clean, fold
from hostlink.archive.programs import programs_at
from hostlink.archive.records import Found, Revision
from hostlink.archive.search_words import spaced, words
from hostlink.archive.session import Row, Session, rows

# More words than these, or longer ones, only narrow a search that is narrow enough.
_MOST_WORDS = 12
_LONGEST_WORD = 80
_LINE_END = re.compile(r"\r\n|\n|\r")
# The line to show is looked for in this much of a listing, in characters.
_SHOWN_FROM = 200_000
_BATCH = 500

_IN_LISTINGS = "SELECT rowid FROM listing_words WHERE listing_words MATCH ?"
_IN_PROGRAMS = "SELECT rowid FROM program_words WHERE program_words MATCH ?"


class Search(Session):
    """The search over everything kept."""

    def find(
        self, question: str, *, tag: str | None = None, board: str | None = None, limit: int = 50
    ) -> list[Found]:
        """Programs and rescues that hold all words of the question.

        Any text may be asked; what is neither letter nor digit only parts words. Without any
        word, tag or board alone choose; without those nothing is found. tag: only programs that
        have it. board: label or UUID; only what came from that board.
        Each program comes once, with its newest fitting revision: latest revisions first, then
        older ones, then rescues, then retired programs; among these, those that fit by name,
        title, notes and tags before those that fit by their listing, and the newest first.
        """
        asked = [word[:_LONGEST_WORD] for word in words(clean(question))][:_MOST_WORDS]
        if limit < 1 or not (asked or tag is not None or board is not None):
            return []
        with self.reading("The search") as db:
            place = None if board is None else find_board(db, board).uuid
            hits = _Hits(db, tag=tag, board_uuid=place)
            revisions = list(itertools.islice(_each_program_once(hits.revisions(asked)), limit))
            rescues = [] if tag is not None else hits.rescues(asked, limit)
            found = _with_programs(db, asked, revisions) + [
                Found(None, read_rescue(row), _line(db, asked, row["listing_id"]))
                for row in rescues
            ]
        found.sort(key=_later)
        return found[:limit]

    def rebuild_search(self) -> None:
        """Make both word indexes anew from what is kept. Raises ArchiveError."""
        with self.writing("The new search index") as db:
            db.execute("INSERT INTO listing_words (listing_words) VALUES ('rebuild')")
            db.execute("DELETE FROM program_words")
            db.execute(
                "INSERT INTO program_words (rowid, name, title, notes, tags) "
                "SELECT id, name, title, notes, tags FROM program_words_due"
            )


class _Hits:
    """Rows that fit a question, from one archive, within one tag or board."""

    def __init__(self, db: Database, *, tag: str | None, board_uuid: str | None) -> None:
        self._db = db
        self._tag = tag
        self._board = board_uuid

    def revisions(self, asked: list[str]) -> Iterator[Row]:
        """Revisions that fit, the best first; a program may come several times."""
        if not asked:
            yield from self._revisions("1", [])
            return
        everywhere = " AND ".join(map(_either, asked))
        yield from self._revisions(f"revisions.program_id IN ({_IN_PROGRAMS})", [everywhere])
        yield from self._by_listing(everywhere)
        if len(asked) > 1:
            yield from self._mixed(asked)

    def rescues(self, asked: list[str], limit: int) -> list[Row]:
        """The newest rescues that fit."""
        where, values = ["1"], list[object]()
        if asked:
            where.append(f"rescues.listing_id IN ({_IN_LISTINGS})")
            values.append(" AND ".join(map(_either, asked)))
        if self._board is not None:
            where.append("boards.uuid = ?")
            values.append(self._board)
        return rows(
            self._db,
            f"{RESCUE} WHERE {' AND '.join(where)} ORDER BY rescues.id DESC LIMIT ?",
            [*values, limit],
        )

    def _revisions(self, where: str, values: list[object]) -> Iterator[Row]:
        """Revisions by a condition, the newest first, fetched as they are asked for."""
        wanted, values = [where], list(values)
        if self._tag is not None:
            wanted.append("revisions.program_id IN (SELECT program_id FROM tags WHERE tag_key = ?)")
            values.append(fold(clean(self._tag)))
        if self._board is not None:
            wanted.append("revisions.board_id = (SELECT id FROM boards WHERE uuid = ?)")
            values.append(self._board)
        sql = (
            "SELECT revisions.id, revisions.program_id, revisions.listing_id FROM revisions "
            f"WHERE {' AND '.join(wanted)} ORDER BY revisions.id DESC"
        )
        for row in self._db.execute(sql, values):
            yield dict(row)

    def _by_listing(self, match: str) -> Iterator[Row]:
        """Revisions whose listing fits, by batches of the newest listings."""
        newest = self._db.execute(f"{_IN_LISTINGS} ORDER BY rowid DESC", (match,))
        while batch := [row[0] for row in newest.fetchmany(_BATCH)]:
            yield from self._revisions(
                "revisions.listing_id IN (SELECT value FROM json_each(?))", [json.dumps(batch)]
            )

    def _mixed(self, asked: list[str]) -> Iterator[Row]:
        """Revisions with some of the words in the listing and the others about the program."""
        known: dict[int, set[str]] = {}
        for word in asked:
            for row in self._db.execute(_IN_PROGRAMS, (_either(word),)):
                known.setdefault(row[0], set()).add(word)
        alike: dict[frozenset[str], list[int]] = {}
        for program, there in known.items():
            if missing := frozenset(asked) - there:
                alike.setdefault(missing, []).append(program)
        for missing, programs in alike.items():
            yield from self._revisions(
                "revisions.program_id IN (SELECT value FROM json_each(?)) "
                f"AND revisions.listing_id IN ({_IN_LISTINGS})",
                [json.dumps(programs), " AND ".join(map(_either, sorted(missing)))],
            )


def _later(found: Found) -> tuple[bool, bool]:
    """Sorts latest revisions before older ones and rescues, and retired programs last."""
    if found.program is None:
        return False, True
    latest = isinstance(found.item, Revision) and found.item.number == found.program.latest
    return found.program.retired, not latest


def _either(word: str) -> str:
    """An index question for one word: as it stands, or parted where letters and digits meet."""
    parts = spaced(word).split()
    if len(parts) == 1:
        return _term(word)
    return f"({_term(word)} OR ({' AND '.join(map(_term, parts))}))"


def _term(word: str) -> str:
    """One word for the index; it holds letters and digits only, so quoting is safe."""
    return f'"{word}"*' if len(word) >= 3 and word.isalpha() else f'"{word}"'


def _each_program_once(found: Iterable[Row]) -> Iterator[Row]:
    seen: set[int] = set()
    for row in found:
        if row["program_id"] not in seen:
            seen.add(row["program_id"])
            yield row


def _with_programs(db: Database, asked: list[str], found: list[Row]) -> list[Found]:
    """Search results for rows of revisions, in the same order."""
    programs = programs_at(db, [row["program_id"] for row in found])
    results: list[Found] = []
    for program, row in zip(programs, found, strict=True):
        revision = revision_at(db, row["id"])
        results.append(Found(program, revision, _line(db, asked, row["listing_id"])))
    return results


def _line(db: Database, asked: list[str], listing: int) -> str:
    """The line of a listing to show for the question."""
    (row,) = rows(
        db, "SELECT substr(text, 1, ?) AS text FROM listings WHERE id = ?", (_SHOWN_FROM, listing)
    )
    return best_line(asked, row["text"])


def best_line(asked: list[str], text: str) -> str:
    """The line that holds most of the words, whole ones counting more; "" where none does.

    A line in which they stand next to each other, blanks or not, comes before all others.
    """
    if not asked:
        return ""
    asked = words(spaced(" ".join(asked)))
    together = "".join(asked)
    beside = re.compile(
        rf"{'(?<![0-9])' if together[0].isdigit() else ''}{re.escape(together)}"
        rf"{'(?![0-9])' if together[-1].isdigit() else ''}"
    )
    best, best_score = "", 0
    for line in _LINE_END.split(text):
        small = line.lower()
        if not any(word in small for word in asked):
            continue
        held = words(line)
        there = {*held, *words(spaced(line))}
        score = sum(
            2 if word in there else any(one.startswith(word) for one in there) for word in asked
        )
        if score and beside.search("".join(held)):
            score += 2 * len(asked)
        if score > best_score:
            best, best_score = line, score
    return best.strip()
