"""Find programs and rescues by words in their name, title, notes, tags or listing.

All words must match, in any order; some may be in the title and the others in a listing. A word of
three or more letters also matches longer words that begin with it. `GOSUB900` and `GOSUB 900` match
each other, because the index and the question hold such words in both forms. Every kept listing is
searched, newest first.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from datetime import datetime
from operator import add, contains

from sqlite_utils import Database

from hostlink.archive.archive_file import ArchiveFile
from hostlink.archive.boards import find_board
from hostlink.archive.database.database_errors import index_damaged
from hostlink.archive.database.joined import Known
from hostlink.archive.database.rows import Row, id_list, rows
from hostlink.archive.lookup import RESCUES, REVISIONS
from hostlink.archive.names import clean
from hostlink.archive.programs import programs_at
from hostlink.archive.records import Found, Listed, Matches, Program, Revision
from hostlink.archive.runs import RUNS, FoundRun
from hostlink.archive.search.hits import Hits, each_program_once
from hostlink.archive.search.index import prefix_question, word_question
from hostlink.archive.search.near import HELD, Near
from hostlink.archive.search.within import Within
from hostlink.archive.search_words import spaced, words
from hostlink.archive.times import utc_text
from hostlink.errors import ArchiveError
from hostlink.words import fold, safe, split_rows

# More or longer words would only narrow a search that is narrow enough.
_MOST_WORDS = 12
_LONGEST_WORD = 80
_MOST_FIRST = "Nothing has all the words; what has most of them comes first."
_INSIDE = "Nothing begins with this word; these have it inside a name or title."
# The line to show is looked for in this much of a listing, in characters.
_SHOWN_FROM = 200_000
_MOST_RUNS = 5000  # that hold the words
_PRINTED = (
    "SELECT runs.id, coalesce(program_id, -runs.id) AS program FROM (SELECT rowid AS id "
    "FROM run_words WHERE run_words MATCH ? ORDER BY rowid DESC LIMIT ?) AS runs "
    "JOIN runs AS kept ON kept.id = runs.id LEFT JOIN revisions ON revisions.id = kept.revision_id "
    "ORDER BY runs.id DESC"
)

_LAST_TIME = "~"  # it sorts after every time


class Search(ArchiveFile):
    """The archive's methods for searches."""

    def find(
        self,
        question: str,
        *,
        tag: str | None = None,
        board: str | None = None,
        size: tuple[int, int] | None = None,
        profile: str | None = None,
        since: datetime | None = None,
        before: datetime | None = None,
        near: bool = False,
        limit: int = 50,
    ) -> Matches:
        """Return programs and rescues that hold all words of the question.

        Anything but letters and digits only separates words. Without words the result depends on
        the restrictions alone; without these it is empty. tag: only programs with it. board:
        label or UUID; only what came from that board. size: least and most bytes on the board,
        inclusive. profile: only listings that were kept by the profile of this name. since,
        before: only what was kept from and before these times. near: if nothing holds all words,
        what comes near instead (near.py), that with most of the words first.

        Each program comes once, with its latest matching revision. Latest revisions come first,
        then older ones, then rescues, then retired programs. Among these, matches in name, title,
        notes and tags come before those in a listing, and later arrivals before earlier ones.
        """
        asked = _words_of(question)
        kept = utc_text(since) if since else "", utc_text(before) if before else _LAST_TIME
        with self.reading("The search") as db:
            within = Within(
                None if tag is None else fold(clean(tag)),
                None if board is None else find_board(db, board).uuid,
                None if size is None else (_storable(size[0]), _storable(size[1])),
                None if profile is None else _profile(db, clean(profile)),
                kept if since or before else None,
            )
            if limit < 1 or not (asked or within != Within()):
                return Matches()
            hits = Hits(db, asked, within)
            return _nearly(db, hits, asked, limit) if near else _with_all(db, hits, asked, limit)

    def find_printed(self, question: str, *, limit: int = 50) -> Listed[FoundRun]:
        """Return runs that printed all words of the question, newest first.

        Each program comes once, with its newest matching run; a run of a program that is not kept
        comes by itself. Only the newest of very many matching runs are looked at.
        """
        asked = _words_of(question)
        with self.reading("The search") as db:
            if limit < 1 or not asked:
                return Listed()
            match = " AND ".join(word_question(word, prefix_question) for word in asked)
            newest: dict[int, int] = {}
            for row in rows(db, _PRINTED, (match, _MOST_RUNS)):
                newest.setdefault(row["program"], row["id"])
            ids = list(newest.values())[:limit]
            runs, lost = RUNS.by_id(db, ids)
        best = BestLine(asked)
        found = [
            FoundRun(runs[each], best.of("\n".join(runs[each].printed.rows)), tuple(asked))
            for each in ids
            if each in runs
        ]
        return Listed(found, lost)


def _words_of(question: str) -> list[str]:
    asked = [word[:_LONGEST_WORD] for word in dict.fromkeys(words(clean(question)))]
    return asked[:_MOST_WORDS]


def _with_all(db: Database, hits: Hits, asked: list[str], limit: int) -> Matches:
    """Return what holds all words."""
    revisions = list(itertools.islice(each_program_once(hits.revisions()), limit))
    found, lost = _with_programs(db, asked, revisions)
    room = limit - sum(1 for each in found if each.program and not each.program.retired)
    if room > 0:
        rescues, more = _rescues(db, asked, hits.rescues(room))
        found, lost = found + rescues, lost + more
    found.sort(key=_later)
    return Matches(found[:limit], lost)


def _nearly(db: Database, hits: Hits, asked: list[str], limit: int) -> Matches:
    """Return the entries that hold all words or, if there are none, the nearest ones."""
    nowhere = [word for word in asked if not (hits.index.share(word) or hits.about(word))]
    if not nowhere:
        found = _with_all(db, hits, asked, limit)
        if found or found.damaged or not asked:
            return found
    near = Near(db, hits, asked, nowhere)
    instead = [
        f'Nothing has "{word}"; "{other}" is looked for instead.'
        for word, other in near.instead.items()
    ]
    if instead:
        found = _with_all(db, hits.asking(near.words), near.words, limit)
        if found:
            return Matches(found, found.damaged, instead)
    revisions, rescues = near.best(limit)
    some, lost = _with_programs(db, near.words, revisions)
    more, more_lost = _rescues(db, near.words, rescues)
    best = sorted([*some, *more], key=lambda one: (-len(one.words), *_later(one)))
    said = _MOST_FIRST if len(asked) > 1 else _INSIDE
    return Matches(best[:limit], [*lost, *more_lost], [*instead, said] if best else [])


def _later(found: Found) -> tuple[bool, bool]:
    """Return the key that sorts latest revisions before others, and retired programs last."""
    if found.program is None:
        return False, True
    program, item = found.program, found.item
    latest = (item.number, item.at) == (program.latest, program.kept_at)
    return program.retired, not (isinstance(item, Revision) and latest)


def _with_programs(
    db: Database, asked: list[str], found: list[Row]
) -> tuple[list[Found], list[str]]:
    """Return search results for rows of revisions in order, and sentences on what is damaged."""
    known: Known = {}
    programs, lost = programs_at(db, [row["program_id"] for row in found], known)
    revisions, more = REVISIONS.by_id(db, [row["id"] for row in found], known)
    there = [row for row in found if row["program_id"] in programs and row["id"] in revisions]
    lost = [*lost, *more]
    best = BestLine(asked)
    shown = [
        Found(program, revisions[row["id"]], line or best.of(_about(program)), words)
        for row, line, words in _shown(db, asked, there, "revisions", lost)
        if (program := programs[row["program_id"]])
    ]
    return shown, list(dict.fromkeys(lost))


def _about(program: Program) -> str:
    """Return the notes and tags of a program, one a row, in which a search shows a match."""
    notes = [f"note: {row}" for row in program.note.splitlines()]
    return "\n".join([*notes, f"tags: {', '.join(program.tags)}"])


def _rescues(db: Database, asked: list[str], found: list[Row]) -> tuple[list[Found], list[str]]:
    """Return search results for rows of rescues, and sentences on what is damaged."""
    rescues, lost = RESCUES.by_id(db, [row["id"] for row in found])
    there = [row for row in found if row["id"] in rescues]
    shown = _shown(db, asked, there, "rescues", lost)
    return [Found(None, rescues[row["id"]], line, words) for row, line, words in shown], lost


def _shown(
    db: Database, asked: list[str], found: list[Row], table: str, lost: list[str]
) -> Iterator[tuple[Row, str, tuple[str, ...]]]:
    """Yield rows with the line to show of each listing, and the words that it holds.

    A row that a damaged index found by the wrong listing is left out; `lost` gets a
    sentence about that.
    """
    sql = (
        f"SELECT {table}.id, listing_id, substr(text, 1, ?) AS text FROM {table} "
        "LEFT JOIN listings ON listings.id = listing_id "
        f"WHERE {table}.id IN (SELECT value FROM json_each(?))"
    )
    ids = id_list(row["id"] for row in found if asked)
    own = {each["id"]: each for each in rows(db, sql, (_SHOWN_FROM, ids))}
    best = BestLine(asked)
    for row in found:
        text = None
        if (kept := own.get(row["id"])) is not None:
            if kept["listing_id"] != row["listing_id"]:
                lost.append(index_damaged(f"the {table}").what)
                continue
            text = kept["text"]
        line = best.of(text) if isinstance(text, str) else ""  # it is damaged
        yield row, line, dict(row).get(HELD, tuple(asked))


def _profile(db: Database, named: str) -> str:
    """Return the name of a profile that listings were kept by. Raises ArchiveError."""
    found = rows(
        db,
        "WITH RECURSIVE each(name) AS (SELECT min(profile) FROM listings UNION ALL SELECT "
        "(SELECT min(profile) FROM listings WHERE profile > name) FROM each WHERE name NOT NULL) "
        "SELECT name FROM each WHERE name NOT NULL",
    )
    names = {fold(row["name"]): str(row["name"]) for row in found}
    if fold(named) not in names:
        held = ", ".join(safe(name) for name in names.values())
        raise ArchiveError(
            f'No listing in the archive is for the kind of board "{safe(named)}".',
            advice=f"There are listings for: {held}." if held else "",
        )
    return names[fold(named)]


def _storable(number: int) -> int:
    """Return the nearest number that SQLite can hold."""
    return max(-(1 << 62), min(1 << 62, number))


def _places(items: list[int], wanted: int) -> Iterator[int]:
    """Yield the indexes of the items that equal `wanted`."""
    at = -1
    for _ in range(items.count(wanted)):
        at = items.index(wanted, at + 1)
        yield at


class BestLine:
    """Chooses the line of a listing to show for the words of a question."""

    def __init__(self, asked: list[str]) -> None:
        self._asked = words(spaced(" ".join(asked)))
        together = "".join(self._asked)
        self._beside = re.compile(
            rf"{'(?<![0-9])' if together[:1].isdigit() else ''}{re.escape(together)}"
            rf"{'(?![0-9])' if together[-1:].isdigit() else ''}"
        )
        self._top = self._most(absent=0)

    def of(self, text: str) -> str:
        """Return the line that holds most of the words, or "". Whole words count more.

        A line in which they are adjacent, with or without blanks, comes before all others.
        """
        if not self._asked:
            return ""
        lines, asked = split_rows(text), self._asked
        smalls = split_rows(text.lower())
        # A word of letters or of digits alone is in a line whether or not that is spaced out.
        there = [0] * len(lines)  # how many of the words are in each line
        for word in asked:
            there = list(map(add, there, map(contains, smalls, itertools.repeat(word))))
        best, best_at = 0, 0
        for absent in range(len(asked)):
            if self._most(absent) < best:
                break
            for at in _places(there, len(asked) - absent):
                score = self._score(lines[at], absent)
                if (score, -at) > (best, -best_at):
                    best, best_at = score, at
                if score == self._top:
                    return lines[at].strip()
        return lines[best_at].strip() if best else ""

    def _most(self, absent: int) -> int:
        """Return the highest score of a line that lacks `absent` of the words."""
        whole = 2 * len(self._asked)
        return whole - 2 * absent + (0 if absent else whole)

    def _score(self, line: str, absent: int) -> int:
        """Return 2 for each whole word and 1 for a beginning, with a bonus if all are adjacent."""
        held = words(spaced(line))
        there = set(held)
        missing = [word for word in self._asked if word not in there]
        whole = 2 * len(self._asked)
        score = whole - 2 * len(missing)
        if missing:
            begins = f" {' '.join(held)}"
            score += sum(f" {word}" in begins for word in missing)
        if not absent and score and self._beside.search("".join(held)):
            score += whole
        return score
