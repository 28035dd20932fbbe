"""Find what comes near a question that nothing matches completely.

Rules:

1. A word that is nowhere in the archive counts if it is part of a word in the name or title of a
   program.
2. A word that is not part of one there is replaced by a longer one of the newest listings that has
   it inside. Listings are read for that, since the index finds words by their beginning only. To go
   through all words of the index would take nine times as long as a search may, even with 10,000
   revisions.
3. Else it is replaced by one that is spelt without the letters ß, ä, ö, ü or with them (ss, ae, oe,
   ue), or else differs in one slip of the keys: a letter lost, added or changed, or two neighbours
   swapped. The first letter is taken as right, unless it is one too many or swapped. Of several
   words that could replace it the most frequent one is taken.
4. If still nothing has all the words, what has most of them comes first, later arrivals before
   earlier ones. For this the newest listings with each word are read, so that the time is bounded.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable
from string import ascii_lowercase

from sqlite_utils import Database

from hostlink.archive.database.rows import Row, id_list, rows
from hostlink.archive.search.hits import Hits
from hostlink.archive.search.index import holds_all
from hostlink.archive.search_words import words
from hostlink.words import unaccented

_SHORTEST, _LONGEST = 3, 20  # letters of a word that is looked for inside others or with a slip
_UMLAUT = re.compile("([aou])e")
_READ = 300  # listings that are read for all words
_PROGRAMS = 10_000  # the newest that are searched for part of a word
_LISTINGS = 1_000  # likewise
_HOLDING = 500  # the newest that count of those that have it
HELD = "held"
"""The key under which a row of `Near.best` has the words that it or its program holds."""


def slips(word: str) -> list[str]:
    """Return all words one slip away from a word, in alphabetical order; see rule 3."""
    if not (_SHORTEST <= len(word) <= _LONGEST and word.isascii() and word.isalpha()):
        return []
    split = [(word[:at], word[at:]) for at in range(len(word) + 1)]
    made = {head + tail[1:] for head, tail in split if tail}
    made |= {head + tail[1] + tail[0] + tail[2:] for head, tail in split if len(tail) > 1}
    for head, tail in split[1:]:
        for letter in ascii_lowercase:
            made |= {head + letter + tail, head + letter + tail[1:]}
    return sorted(made - {word})


def spellings(word: str) -> list[str]:
    """Return other spellings of a word, as the index has them: with ß, ä, ö, ü or without.

    The index has no accents, but knows ß.
    """
    plain = unaccented(word)
    found = {plain, plain.replace("ss", "ß")}
    return sorted((found | {_UMLAUT.sub(r"\1", each) for each in found}) - {word})


class Near:
    """What comes near one question. nowhere: its words that nothing in the archive has."""

    def __init__(self, db: Database, hits: Hits, asked: list[str], nowhere: list[str]) -> None:
        self._db = db
        self._hits = hits
        self._parts = {word: self._part_of(word) for word in nowhere}
        self.instead = {
            word: max(alike, key=hits.index.share)
            for word in nowhere
            if not self._parts[word] and (alike := self._around(word) or self._alike(word))
        }
        """Words that occur nowhere, each with the one to look for in its place."""
        self.words = list(dict.fromkeys(self.instead.get(word, word) for word in asked))

    def _around(self, word: str) -> list[str]:
        """Return the words of the newest listings that have a word inside."""
        if len(word) < _SHORTEST:
            return []
        # LIKE takes a quarter of the time of instr and lower, but stops at a NUL.
        found = self._db.execute(
            "SELECT text FROM listings WHERE id > (SELECT max(id) FROM listings) - ? "
            "AND text LIKE ? ORDER BY id DESC LIMIT ?",
            (_LISTINGS, f"%{word}%", _READ),
        )
        return sorted({each for row in found for each in words(row[0]) if word in each})

    def _alike(self, word: str) -> list[str]:
        """Return indexed words that are spellings of a word, or else those one slip away."""
        for around in (spellings(word), slips(word)):
            for index in ("listing_words", "program_words"):
                if found := list(self._hits.index.held(index, around)):
                    return found
        return []

    def best(self, limit: int) -> tuple[list[Row], list[Row]]:
        """Return revisions and rescues with some of the words, those with most of them first."""
        about = self._about()
        newest = self._hits.newest_of(
            sorted(about, key=lambda one: (-len(about[one]), -one))[:limit]
        )
        held = self._listings({row["listing_id"] for row in newest})
        best: dict[int, tuple[Row, set[str]]] = {}
        for row in [*self._hits.of_listings(held), *newest]:
            program = row["program_id"]
            there = held.get(row["listing_id"], set()) | about.get(program, set())
            if program not in best or len(there) > len(best[program][1]):
                best[program] = row, there
        rescues = [(row, held[row["listing_id"]]) for row in self._hits.rescues_of(held)]
        return self._in_order(best.values())[:limit], self._in_order(rescues)[:limit]

    def _in_order(self, found: Iterable[tuple[Row, set[str]]]) -> list[Row]:
        """Return rows, those with most words first; each has its words in the question's order."""
        return [
            {**row, HELD: tuple(word for word in self.words if word in held)}
            for row, held in sorted(found, key=lambda one: (-len(one[1]), -one[0]["id"]))
        ]

    def _listings(self, ids: set[int]) -> dict[int, set[str]]:
        """Return, by listing, the question's words in these and in the newest with each word."""
        index = self._hits.index
        there = list(filter(index.share, self.words))
        for word in there:
            with_it = itertools.chain.from_iterable(index.candidates((word,)))
            ids.update(itertools.islice(with_it, _READ // len(there)))
        found = self._db.execute(
            "SELECT id, text, spaced_words FROM listings "
            "WHERE id IN (SELECT value FROM json_each(?))",
            [id_list(ids)],
        )
        return {
            row["id"]: held
            for row in found
            if (held := {w for w in there if holds_all([w], row["text"], row["spaced_words"])})
        }

    def _about(self) -> dict[int, set[str]]:
        """Return, by program, the question's words in its name, title, notes and tags."""
        about: dict[int, set[str]] = {}
        for word in self.words:
            for program in self._hits.about(word) | self._parts.get(word, set()):
                about.setdefault(program, set()).add(word)
        return about

    def _part_of(self, word: str) -> set[int]:
        """Return programs, as restricted, with a word inside a word of their name or title."""
        found = rows(
            self._db,
            "SELECT id FROM programs WHERE id > (SELECT max(id) FROM programs) - ? "
            "AND (name LIKE ? OR title LIKE ?)",
            (_PROGRAMS, f"%{word}%", f"%{word}%"),
        )
        programs = sorted((row["id"] for row in found), reverse=True)
        return {row["program_id"] for row in self._hits.newest_of(programs[:_HOLDING])}
