"""Find the rows that match a question, as a stream, however many revisions there are.

Rules:

1. Only what is shown is gathered. Rows come in the order of arrival, latest first, and reading
   stops as soon as there are enough.
2. If an index would give many rows of which few match, those few are read instead.
3. The latest matching revision of a program is shown, by its number. After a merge an older one may
   have arrived later, so the first match is checked once more for that.
"""

from __future__ import annotations

import copy
import itertools
import json
from collections.abc import Collection, Iterable, Iterator

from sqlite_utils import Database

from hostlink.archive.database.rows import Row, id_list, rows
from hostlink.archive.lookup import IN_ORDER
from hostlink.archive.search.index import (
    WordIndex,
    batches,
    holds_all,
    may_hold,
    prefix_question,
    word_question,
)
from hostlink.archive.search.within import Within

_AT_ONCE = 60  # programs in one question for their latest matching revision
_MANY = 5000  # listings searched for rescues before the rescues are read instead
_SPARE = 20  # rescues more than asked for, since a listing may be rescued again years later
_MOST_PROGRAMS = 2000  # for one word
# The last and bounded part of a search: words in the listing and about the program. It reads so
# many listings, or if more listings have the words, those of so many programs at a time.
_MOST_MIXED, _READ_PROGRAMS, _READ_LISTINGS = 600, 60, 600

_IN_PROGRAMS = "SELECT rowid FROM program_words WHERE program_words MATCH ? ORDER BY rowid DESC"
_OF_LISTINGS = "listing_id IN (SELECT value FROM json_each(?))"
_RESCUES_AT = "rescues.id IN (SELECT value FROM json_each(?))"
_ROW = "revisions.id, revisions.program_id, revisions.listing_id"
_OF_TIME = "kept_at >= ? AND kept_at < ?"


def each_program_once(found: Iterable[Row]) -> Iterator[Row]:
    """Yield the first row of each program."""
    seen = set[int]()
    for row in found:
        if row["program_id"] not in seen:
            seen.add(row["program_id"])
            yield row


class Hits:
    """The matching rows of one archive."""

    def __init__(self, db: Database, asked: list[str], within: Within) -> None:
        self._db = db
        self._asked = tuple(asked)
        self._within = within
        self._few = within.few(db)
        self.index = WordIndex(db, *(within.listings(db, self._few) if asked else ()))
        self._known_about: dict[str, set[int]] = {}

    def asking(self, words: list[str]) -> Hits:
        """Return the hits for other words; what was read from the indexes is used again."""
        other = copy.copy(self)
        other._asked = tuple(words)
        return other

    def revisions(self) -> Iterator[Row]:
        """Yield matching revisions (id, program_id, listing_id), the best first.

        A program may come several times.
        """
        if not self._asked:
            yield from self._without_words()
            return
        for programs in self._programs():
            yield from self.newest_of(programs)
        yield from self._by_listing(self._asked)
        if len(self._asked) > 1:
            yield from self._mixed()

    def _without_words(self) -> Iterator[Row]:
        """Yield the latest revision of each program that meets the restrictions, without words."""
        if self._within.tag is not None:
            tagged = self._db.execute(
                "SELECT program_id FROM tags WHERE tag_key = ? ORDER BY program_id DESC",
                (self._within.tag,),
            )
            for programs in batches(tagged):
                yield from self.newest_of(programs)
        elif self._few is not None:
            few, values = self._few
            yield from self._each_latest(self._revisions(f"revisions.id IN ({few})", values))
        elif self._within.kept is not None:
            of_time = self._revisions(_OF_TIME, [*self._within.kept], by="kept_at")
            yield from self._each_latest(of_time, by="kept_at")
        else:
            yield from self._each_latest(self._revisions("1", []))

    def _revisions(self, where: str, values: list[object], by: str = "id") -> Iterator[Row]:
        """Yield revisions by a condition, the newest first, fetched on demand."""
        more, more_values = self._within.of("revisions", alone=where == "1")
        sql = f"SELECT {_ROW} FROM revisions WHERE {where} {more} ORDER BY revisions.{by} DESC"
        yield from self._db.execute(sql, [*values, *more_values])

    def newest_of(self, programs: list[int]) -> list[Row]:
        """Return the latest matching revision of each program, latest arrivals first."""
        more, more_values = self._within.of("revisions")
        # With max() SQLite takes the other columns from the row that has it.
        return rows(
            self._db,
            f"SELECT {_ROW}, max({IN_ORDER}) FROM revisions WHERE program_id IN "
            f"(SELECT value FROM json_each(?)) {more} GROUP BY program_id ORDER BY id DESC",
            [id_list(programs), *more_values],
        )

    def _programs(self) -> Iterator[list[int]]:
        """Yield programs with all words in name, title, notes and tags, newest first."""
        common: set[int] | None = None
        for word in self._asked:
            about = self.about(word)
            if len(about) == _MOST_PROGRAMS:
                match = " AND ".join(word_question(word, prefix_question) for word in self._asked)
                yield from batches(self._db.execute(_IN_PROGRAMS, (match,)))
                return
            common = about if common is None else common & about
            if not common:
                return
        yield from batches(zip(sorted(common or (), reverse=True)))

    def about(self, word: str) -> set[int]:
        """Return programs with a word in name, title, notes or tags; of many, only the newest."""
        if word not in self._known_about:
            found = self._db.execute(
                f"SELECT json_group_array(rowid) FROM ({_IN_PROGRAMS} LIMIT {_MOST_PROGRAMS})",
                (word_question(word, prefix_question),),
            )
            self._known_about[word] = set(json.loads(found.fetchone()[0]))
        return self._known_about[word]

    def _by_listing(
        self, asked: tuple[str, ...], programs: Collection[int] | None = None
    ) -> Iterator[Row]:
        """Yield for each program the newest revision with all words in its listing."""
        seen: set[int] = set()
        for listings in self.index.candidates(asked):
            if programs is not None:  # few: leave out the listings of others before reading texts
                listings = [row["listing_id"] for row in self.of_listings(listings, programs)]
            held = self.of_listings(self.index.holding(asked, listings), programs)
            fit = list(each_program_once(row for row in held if row["program_id"] not in seen))
            seen.update(row["program_id"] for row in fit)
            yield from self._latest_fitting(fit, asked, by="listing_id")

    def of_listings(
        self, listings: Collection[int], programs: Collection[int] | None = None
    ) -> Iterator[Row]:
        """Yield the revisions with these listings, of these programs or of all."""
        for row in self._revisions(_OF_LISTINGS, [id_list(listings)]):
            if programs is None or row["program_id"] in programs:
                yield row

    def _each_latest(self, found: Iterable[Row], by: str = "id") -> Iterator[Row]:
        """Yield one revision for each program from revisions in order of arrival, or of `by`."""
        once = each_program_once(found)
        while some := list(itertools.islice(once, _AT_ONCE)):
            yield from self._latest_fitting(some, (), by=by)

    def _latest_fitting(
        self, found: Collection[Row], asked: tuple[str, ...], *, by: str
    ) -> Iterator[Row]:
        """Return the latest matching revision of the program of each row, one row for each program.

        by: the column by which the rows were sorted, highest first, so that no higher one matches.
        By listings, a later revision may have an older listing again.
        """
        more, more_values = self._within.of("revisions")
        later = self._db.execute(
            f"SELECT {_ROW}, text, spaced_words FROM json_each(?) AS each "
            "CROSS JOIN revisions AS found ON found.id = each.value "
            "CROSS JOIN revisions ON revisions.program_id = found.program_id "
            f"AND revisions.{by} <= found.{by} AND revisions.number >= found.number "
            f"AND {IN_ORDER} > {IN_ORDER.replace('revisions.', 'found.')} "
            f"CROSS JOIN listings ON listings.id = revisions.listing_id WHERE 1 {more} "
            f"ORDER BY {IN_ORDER} DESC",
            [id_list(row["id"] for row in found), *more_values],
        )
        latest: dict[int, Row] = {}
        for each in later:
            program = each["program_id"]
            if program not in latest and holds_all(asked, each["text"], each["spaced_words"]):
                latest[program] = dict(each)
        return (latest.get(row["program_id"], row) for row in found)

    def _mixed(self) -> Iterator[Row]:
        """Yield revisions with some words in the listing, the others in name, title, notes or tags.

        Those with the fewest words in the listing come first. Of very many programs only the newest
        are searched.
        """
        known: dict[int, int] = {}  # program to the words about it, a bit for each
        for at, word in enumerate(self._asked):
            for program in self.about(word):
                known[program] = known.get(program, 0) | 1 << at
        alike: dict[int, set[int]] = {}
        for program, there in known.items():
            alike.setdefault(there, set()).add(program)
        left = _MOST_MIXED
        for there, programs in sorted(alike.items(), key=lambda each: -each[0].bit_count()):
            missing = [word for at, word in enumerate(self._asked) if not there >> at & 1]
            if not missing:
                continue  # these match without their listing, and came before
            if left <= 0:
                return
            words = tuple(sorted(missing))
            held = self.index.count(words, _READ_LISTINGS)
            left -= min(held, _READ_LISTINGS)
            if held < _READ_LISTINGS:
                yield from self._by_listing(words, programs)
            else:
                yield from self._read(words, sorted(programs, reverse=True)[:_READ_PROGRAMS])

    def _read(self, asked: tuple[str, ...], programs: list[int]) -> Iterator[Row]:
        """Yield revisions of some programs with all words, by reading the listings."""
        more, more_values = self._within.of("revisions")
        holds, hold_values = may_hold(asked)
        for row in self._db.execute(
            f"SELECT {_ROW}, text, spaced_words FROM revisions "
            "JOIN listings ON listings.id = listing_id WHERE program_id IN "
            f"(SELECT value FROM json_each(?)) {more} {holds} ORDER BY {IN_ORDER} DESC",
            [id_list(programs), *more_values, *hold_values],
        ):
            if holds_all(asked, row["text"], row["spaced_words"]):
                yield dict(row)

    def rescues(self, limit: int) -> list[Row]:
        """Return the newest matching rescues; none for a tag, because only programs have tags."""
        if not self._asked or self._within.tag is not None:
            kept = self._within.kept
            return self._rescues(_OF_TIME if kept else "1", [*(kept or ())], limit)
        # If few revisions are left, the index has only their listings, and rescues are few too.
        ids = None if self._few else self._rescues_by_listing(self._asked, limit)
        if ids is None:
            ids = list(self._read_rescues(self._asked, limit))
        return self._rescues(_RESCUES_AT, [id_list(ids)], limit)

    def rescues_of(self, listings: Collection[int]) -> list[Row]:
        """Return the rescues with these listings; none for a tag."""
        return self._rescues(_OF_LISTINGS, [id_list(listings)], -1)

    def _rescues_by_listing(self, asked: tuple[str, ...], limit: int) -> list[int] | None:
        """Return rescues with all words in the listing, newest listing first, slightly over limit.

        None if there are still too few after many listings: then another way is quicker.
        """
        ids, looked_at = list[int](), 0
        more, more_values = self._within.of("rescues")
        for listings in self.index.candidates(asked):
            found = rows(
                self._db,
                f"SELECT id, listing_id FROM rescues WHERE {_OF_LISTINGS} {more}",
                [id_list(listings), *more_values],
            )
            good = self.index.holding(asked, {row["listing_id"] for row in found})
            ids += [row["id"] for row in found if row["listing_id"] in good]
            looked_at += len(listings)
            if len(ids) >= limit + _SPARE:
                return ids
            if looked_at >= _MANY:
                return None
        return ids

    def _read_rescues(self, asked: tuple[str, ...], limit: int) -> Iterator[int]:
        """Yield the newest rescues with all words in the listing, by reading the listings."""
        more, more_values = self._within.of("rescues")
        holds, hold_values = may_hold(asked)
        found = self._db.execute(
            "SELECT rescues.id, text, spaced_words FROM rescues JOIN listings "
            f"ON listings.id = listing_id WHERE 1 {more} {holds} ORDER BY rescues.id DESC",
            [*more_values, *hold_values],
        )
        fit = (row["id"] for row in found if holds_all(asked, row["text"], row["spaced_words"]))
        yield from itertools.islice(fit, limit)

    def _rescues(self, where: str, values: list[object], limit: int) -> list[Row]:
        if self._within.tag is not None:
            return []
        more, more_values = self._within.of("rescues", alone=where == "1")
        by = "kept_at" if where is _OF_TIME else "id"
        return rows(
            self._db,
            f"SELECT id, listing_id FROM rescues WHERE {where} {more} "
            f"ORDER BY rescues.{by} DESC LIMIT ?",
            [*values, *more_values, limit],
        )
