"""The rows that fit a question, streamed so that a million revisions cost no more than a thousand.

Rules:
1. Nothing is gathered that is not shown: both indexes give their rows newest first, and reading
   stops as soon as there are enough.
2. A word's beginning is never asked of the listing index, which would put together every listing
   of every longer word first; the longer words are looked up and asked one by one.
3. Where an index would give very many rows of which few can count, the few are read instead.
4. Of several words only the rarest are asked of the listing index, until few listings are left;
   these are read for the others. To find what is in nearly every listing is to read all of it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlite_utils import Database

from hostlink.archive.lookup import RESCUE
from hostlink.archive.search_words import spaced, words
from hostlink.archive.session import Row, rows

MOST_LONGER_WORDS = 100
_BATCHES = (100, 400, 1000)  # rows asked for at once: few first, for few are often enough
_MOST_PROGRAMS = 5000  # that one word is about
_MANY = 5000  # an index that gives more rows than this is not read to its end
_SAMPLE = 300  # the newest listings with a word, from which it is told how frequent it is
_NARROW = 2000  # listings that are left to be read
# Words here and there are looked for last, and not for ever: in so many listings, and where their
# listings are too many in those of so many programs.
_MOST_MIXED, _READ_PROGRAMS, _READ_AT_MOST = 6000, 200, 2000

_IN_LISTINGS = "SELECT rowid FROM listing_words WHERE listing_words MATCH ?"
_IN_PROGRAMS = "SELECT rowid FROM program_words WHERE program_words MATCH ? ORDER BY rowid DESC"
_OF_LISTINGS = "listing_id IN (SELECT value FROM json_each(?))"
_OF_SIZE = "SELECT id FROM revisions WHERE size_bytes BETWEEN ? AND ?"


@dataclass(frozen=True, slots=True)
class Within:
    """What narrows a search. tag: as it is compared. size: least and most bytes on the board."""

    tag: str | None = None
    board_uuid: str | None = None
    size: tuple[int, int] | None = None

    def of(self, table: str, *, alone: bool = False) -> tuple[str, list[object]]:
        """Conditions on rows of revisions or rescues, each begun with AND, and their values.

        alone: nothing else chooses. Else a plus keeps SQLite from going by the index of boards,
        which would give more rows than what they are added to. It never may go by that of sizes,
        for then it would have to sort.
        """
        board = f"{'' if alone else '+'}{table}.board_id"
        parts, values = list[str](), list[object]()
        if self.tag is not None:
            parts.append(
                "AND EXISTS (SELECT 1 FROM tags WHERE tag_key = ? AND tags.program_id = "
                f"{table}.program_id)"
            )
            values.append(self.tag)
        if self.board_uuid is not None:
            parts.append(f"AND {board} = (SELECT id FROM boards WHERE uuid = ?)")
            values.append(self.board_uuid)
        if self.size is not None:
            parts.append(f"AND +{table}.size_bytes BETWEEN ? AND ?")
            values += self.size
        return " ".join(parts), values


class _Again:
    """What an iterator gives, as often as it is asked for, each item made once."""

    def __init__(self, items: Iterator[list[int]]) -> None:
        self._items = items
        self._given: list[list[int]] = []

    def __iter__(self) -> Iterator[list[int]]:
        at = 0
        while True:
            if at == len(self._given):
                item = next(self._items, None)
                if item is None:
                    return
                self._given.append(item)
            yield self._given[at]
            at += 1


class Hits:
    """Rows that fit, from one archive."""

    def __init__(self, db: Database, asked: list[str], within: Within) -> None:
        self._db = db
        self._asked = asked
        self._within = within
        self._known_longer: dict[str, str] = {}
        self._listed: dict[tuple[str, ...], _Again] = {}
        db.execute(
            "CREATE VIRTUAL TABLE IF NOT EXISTS temp.listing_terms "
            "USING fts5vocab(main, listing_words, instance)"
        )

    # --- revisions -------------------------------------------------------------------------------

    def revisions(self) -> Iterator[Row]:
        """Revisions that fit (id, program_id, listing_id), the best first.

        A program may come several times.
        """
        if not self._asked:
            yield from self._without_words()
            return
        for programs in self._programs():
            yield from self._newest_of(programs)
        yield from self._by_listing(self._asked)
        if len(self._asked) > 1:
            yield from self._mixed()

    def _without_words(self) -> Iterator[Row]:
        """Revisions by tag, board or size alone."""
        if self._within.tag is not None:
            tagged = self._db.execute(
                "SELECT program_id FROM tags WHERE tag_key = ? ORDER BY program_id DESC",
                (self._within.tag,),
            )
            for programs in _batches(tagged):
                yield from self._newest_of(programs)
        elif self._within.size and self._at_most(_OF_SIZE, self._within.size) < _MANY:
            yield from self._revisions(f"revisions.id IN ({_OF_SIZE})", list(self._within.size))
        else:
            yield from self._revisions("1", [])

    def _revisions(self, where: str, values: list[object]) -> Iterator[Row]:
        """Revisions by a condition, the newest first, fetched as they are asked for."""
        more, more_values = self._within.of("revisions", alone=where == "1")
        sql = (
            "SELECT revisions.id, revisions.program_id, revisions.listing_id FROM revisions "
            f"WHERE {where} {more} ORDER BY revisions.id DESC"
        )
        for row in self._db.execute(sql, [*values, *more_values]):
            yield dict(row)

    def _newest_of(self, programs: list[int]) -> list[Row]:
        """The newest fitting revision of each program, the newest first."""
        more, more_values = self._within.of("revisions")
        return rows(
            self._db,
            "SELECT id, program_id, listing_id FROM revisions WHERE id IN (SELECT max(id) "
            "FROM revisions WHERE program_id IN (SELECT value FROM json_each(?)) "
            f"{more} GROUP BY program_id) ORDER BY id DESC",
            [json.dumps(programs), *more_values],
        )

    def _at_most(self, select: str, values: Iterable[object]) -> int:
        """How many rows a query gives, _MANY or less."""
        sql = f"SELECT count(*) FROM ({select} LIMIT {_MANY})"
        return int(self._db.execute(sql, list(values)).fetchone()[0])

    def _count(self, asked: Iterable[str]) -> int:
        """How many listings have to be looked at for those with all words; _MANY or less."""
        rare, _ = self._rarest(tuple(asked))
        return self._at_most(_IN_LISTINGS, [self._match(rare)])

    # --- words -----------------------------------------------------------------------------------

    def _programs(self) -> Iterator[list[int]]:
        """Programs whose name, title, notes and tags hold all words, newest first, in batches."""
        match = " AND ".join(_either(word, _begun) for word in self._asked)
        yield from _batches(self._db.execute(_IN_PROGRAMS, (match,)))

    def _listings(self, asked: Iterable[str]) -> Iterable[list[int]]:
        """Listings that hold all words, newest first, in batches; read once, given often."""
        key = tuple(asked)
        if key not in self._listed:
            self._listed[key] = _Again(self._read_listings(key))
        return self._listed[key]

    def _read_listings(self, asked: tuple[str, ...]) -> Iterator[list[int]]:
        rare, others = self._rarest(asked)
        found = self._db.execute(f"{_IN_LISTINGS} ORDER BY rowid DESC", (self._match(rare),))
        holds, hold_values = _may_hold(others)
        for batch in _batches(found):
            if not others:
                yield batch
                continue
            held = self._db.execute(
                "SELECT id, text, spaced_words FROM listings WHERE id IN "
                f"(SELECT value FROM json_each(?)) {holds} ORDER BY id DESC",
                [json.dumps(batch), *hold_values],
            )
            yield [row["id"] for row in held if holds_all(others, row["text"], row["spaced_words"])]

    def _rarest(self, asked: tuple[str, ...]) -> tuple[list[str], list[str]]:
        """The words to ask of the index, the rarest first, and those to read for."""
        if len(asked) == 1:
            return list(asked), []
        newest = self._db.execute("SELECT max(id) FROM listings").fetchone()[0] or 0
        by_share = sorted((self._share(word, newest), word) for word in asked)
        left, rare = float(newest), list[str]()
        for share, word in by_share:
            if rare and left <= _NARROW:
                break
            rare.append(word)
            left *= share
        return rare, [word for _, word in by_share[len(rare) :]]

    def _share(self, word: str, newest: int) -> float:
        """About how large a share of the listings holds a word."""
        found = self._db.execute(
            f"{_IN_LISTINGS} ORDER BY rowid DESC LIMIT {_SAMPLE}", (self._match([word]),)
        ).fetchall()
        span = newest - found[-1][0] + 1 if len(found) == _SAMPLE else newest
        return len(found) / max(1, span)

    def _by_listing(
        self, asked: Iterable[str], programs: Collection[int] | None = None
    ) -> Iterator[Row]:
        """Of each program, or of some, the newest revision whose listing holds all words."""
        seen: set[int] = set()
        for listings in self._listings(asked):
            for row in self._revisions(_OF_LISTINGS, [json.dumps(listings)]):
                program = row["program_id"]
                if program not in seen and (programs is None or program in programs):
                    seen.add(program)
                    yield self._newest_like(row, asked)

    def _newest_like(self, row: Row, asked: Iterable[str]) -> Row:
        """A revision, or a newer one of its program with a listing that was kept still earlier.

        Listings come newest first, but one may be used again years later.
        """
        more, more_values = self._within.of("revisions")
        newer = self._db.execute(
            "SELECT revisions.id, program_id, listing_id, text, spaced_words FROM revisions "
            "JOIN listings ON listings.id = listing_id WHERE program_id = ? AND revisions.id > ? "
            f"AND listing_id < ? {more} ORDER BY revisions.id DESC",
            [row["program_id"], row["id"], row["listing_id"], *more_values],
        )
        for each in newer:
            if holds_all(asked, each["text"], each["spaced_words"]):
                return dict(each)
        return row

    def _match(self, asked: Iterable[str]) -> str:
        return " AND ".join(_either(word, self._longer) for word in asked)

    def _longer(self, word: str) -> str:
        """The index question for a word and all longer ones in listings.

        A longer word with a digit in it is left out: its parts are in the index on their own.
        """
        if word not in self._known_longer:
            self._known_longer[word] = self._look_up_longer(word)
        return self._known_longer[word]

    def _look_up_longer(self, word: str) -> str:
        if not _may_be_begun(word):
            return f'"{word}"'
        found, least = [word], word
        while len(found) <= MOST_LONGER_WORDS:
            row = self._db.execute(
                "SELECT term FROM temp.listing_terms WHERE term >= ? LIMIT 1", (least,)
            ).fetchone()
            if row is None or not row[0].startswith(word):
                return "(" + " OR ".join(f'"{each}"' for each in found) + ")"
            letters = _to_first_digit(row[0])
            if letters == row[0] != word:
                found.append(row[0])
            least = letters + ":"  # the character after 9: those with digits are passed over
        return _begun(word)

    # --- words here and there --------------------------------------------------------------------

    def _mixed(self) -> Iterator[Row]:
        """Revisions with some of the words in the listing and the others about the program.

        First where the fewest are in the listing; of very many programs the newest are looked at.
        """
        known: dict[int, set[str]] = {}
        for word in self._asked:
            about = self._db.execute(
                f"{_IN_PROGRAMS} LIMIT {_MOST_PROGRAMS}", (_either(word, _begun),)
            )
            for row in about:
                known.setdefault(row[0], set()).add(word)
        alike: dict[frozenset[str], set[int]] = {}
        for program, there in known.items():
            if missing := frozenset(self._asked) - there:
                alike.setdefault(missing, set()).add(program)
        left = _MOST_MIXED
        for missing, programs in sorted(alike.items(), key=lambda each: len(each[0])):
            if left <= 0:
                return
            held = self._count(missing)
            left -= min(held, _READ_AT_MOST)
            if held < _MANY:
                yield from self._by_listing(missing, programs)
            else:
                yield from self._read(missing, sorted(programs, reverse=True)[:_READ_PROGRAMS])

    def _read(self, asked: Iterable[str], programs: list[int]) -> Iterator[Row]:
        """Revisions of some programs whose listings hold all words, by reading these."""
        more, more_values = self._within.of("revisions")
        holds, hold_values = _may_hold(asked)
        for first in range(0, len(programs), _BATCHES[0]):
            batch = json.dumps(programs[first : first + _BATCHES[0]])
            for row in self._db.execute(
                "SELECT revisions.id, program_id, listing_id, text, spaced_words FROM revisions "
                "JOIN listings ON listings.id = listing_id WHERE program_id IN "
                f"(SELECT value FROM json_each(?)) {more} {holds} ORDER BY revisions.id DESC",
                [batch, *more_values, *hold_values],
            ):
                if holds_all(asked, row["text"], row["spaced_words"]):
                    yield dict(row)

    # --- rescues ---------------------------------------------------------------------------------

    def rescues(self, limit: int) -> list[Row]:
        """The newest rescues that fit; none within a tag, for what has tags is programs."""
        if self._within.tag is not None:
            return []
        if not self._asked:
            return self._rescues("1", [], limit)
        found: list[Row] = []
        if self._count(self._asked) < _MANY:
            for listings in self._listings(self._asked):
                where = f"rescues.{_OF_LISTINGS}"
                found += self._rescues(where, [json.dumps(listings)], limit)
            return sorted(found, key=lambda row: -row["id"])[:limit]
        more, more_values = self._within.of("rescues")
        holds, hold_values = _may_hold(self._asked)
        for row in self._db.execute(
            "SELECT rescues.id, text, spaced_words FROM rescues JOIN listings "
            f"ON listings.id = listing_id WHERE 1 {more} {holds} ORDER BY rescues.id DESC",
            [*more_values, *hold_values],
        ):
            if holds_all(self._asked, row["text"], row["spaced_words"]):
                found += self._rescues("rescues.id = ?", [row["id"]], 1)
                if len(found) == limit:
                    break
        return found

    def _rescues(self, where: str, values: list[object], limit: int) -> list[Row]:
        more, more_values = self._within.of("rescues", alone=where == "1")
        return rows(
            self._db,
            f"{RESCUE} WHERE {where} {more} ORDER BY rescues.id DESC LIMIT ?",
            [*values, *more_values, limit],
        )


def _batches(found: Iterable[Any]) -> Iterator[list[int]]:
    """The first columns of rows, in batches that grow."""
    sizes, batch = iter(_BATCHES), list[int]()
    size = next(sizes)
    for row in found:
        batch.append(row[0])
        if len(batch) == size:
            yield batch
            batch, size = [], next(sizes, size)
    if batch:
        yield batch


def _to_first_digit(word: str) -> str:
    at = next((at for at, letter in enumerate(word) if letter in "0123456789"), len(word))
    return word[:at]


def _may_be_begun(word: str) -> bool:
    """Whether a word also stands for longer ones."""
    return len(word) >= 3 and word.isalpha()


def _begun(word: str) -> str:
    """The index question for a word and all longer ones, put together by the index itself."""
    return f'"{word}"*' if _may_be_begun(word) else f'"{word}"'


def _either(word: str, term: Callable[[str], str]) -> str:
    """An index question for one word: as it stands, or parted where letters and digits meet.

    A word holds letters and digits only, so quoting is safe.
    """
    parts = spaced(word).split()
    if len(parts) == 1:
        return term(word)
    return f"({term(word)} OR ({' AND '.join(map(term, parts))}))"


def _may_hold(asked: Iterable[str]) -> tuple[str, list[object]]:
    """A quick condition that listings with all words meet, and others may."""
    parts = [part for word in asked for part in spaced(word).split() if part.isascii()]
    condition = "AND instr(lower(text || ' ' || spaced_words), ?)"
    return " ".join([condition] * len(parts)), list(parts)


def holds_all(asked: Iterable[str], text: str, spaced_words: str) -> bool:
    """Whether a listing holds all words as the index would have it."""
    there = {*words(text), *words(spaced_words)}

    def has(word: str) -> bool:
        return word in there or (
            _may_be_begun(word) and any(each.startswith(word) for each in there)
        )

    return all(has(word) or all(map(has, spaced(word).split())) for word in asked)
