"""Use the word index of listings to find those that hold all words of a question.

Rules:

1. The index is never asked for the beginning of a word, because it would first collect the listings
   of every longer word. The longer words are looked up and asked for one by one.
2. Of several words only the rarest are asked for; the listings with these are read for the other
   words. For each further word the index goes through all equally new listings with that word, so
   asking for it pays only if it then saves the reading of enough listings.
"""

from __future__ import annotations

import itertools
import re
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property
from typing import Any

from sqlite_utils import Database

from hostlink.archive.database.access import writing_elsewhere
from hostlink.archive.database.database_errors import FAULTS, is_damage
from hostlink.archive.database.rows import id_list
from hostlink.archive.search_words import spaced

MOST_LONGER_WORDS = 100
_BATCHES = 60, 1000  # rows asked for at once: few first, then a third of those before
_SAMPLE = 25  # listings looked at to estimate the frequency of a word
_FREQUENT = 0.6
_DIGIT = re.compile("[0-9]")
# Reading one listing takes as long as this many steps through the index.
_STEPS = 270

_MATCH = "SELECT rowid FROM listing_words WHERE listing_words MATCH ?"


class WordIndex:
    """The word index of one archive, for one search.

    pool: the only listings to look at, newest first, so few that the index is not asked. span: the
    first and last id of the listings to look at.
    """

    def __init__(
        self,
        db: Database,
        pool: Sequence[int] | None = None,
        span: tuple[int, int] | None = None,
    ) -> None:
        self._db = db
        self._pool = pool
        self._bounds = f"AND rowid BETWEEN {span[0]} AND {span[1]}" if span else ""
        self._known_longer: dict[str, str] = {}
        self._split: dict[tuple[str, ...], tuple[list[str], list[str]]] = {}
        self._shares: dict[str, float] = {}
        self._found: dict[tuple[str, ...], Iterator[list[int]]] = {}
        self._newest = db.execute("SELECT max(id) FROM listings").fetchone()[0] or 0
        self._list_terms("listing_words")

    def _list_terms(self, index: str) -> None:
        """Make the words of an index readable as a table."""
        with writing_elsewhere(self._db):
            self._db.execute(
                f"CREATE VIRTUAL TABLE IF NOT EXISTS temp.terms_of_{index} "
                f"USING fts5vocab(main, {index}, instance)"
            )

    def _first_term(self, index: str, least: str) -> str | None:
        """Return the first word of an index, in alphabetical order, that is `least` or later."""
        row = self._db.execute(
            f"SELECT term FROM temp.terms_of_{index} WHERE term >= ? LIMIT 1", (least,)
        ).fetchone()
        return None if row is None else row[0]

    def held(self, index: str, words: Sequence[str]) -> Iterator[str]:
        """Yield the words that an index holds. words: candidates in alphabetical order."""
        self._list_terms(index)
        at = 0
        while at < len(words) and (term := self._first_term(index, words[at])) is not None:
            at = bisect_left(words, term, at)
            if at < len(words) and words[at] == term:
                yield term
                at += 1

    def candidates(self, asked: tuple[str, ...]) -> Iterable[list[int]]:
        """Yield listings with the rarest of the words, newest first, in batches; see `holding`."""
        found = self._found.get(asked) or batches(self._with_rarest(asked))
        self._found[asked], again = itertools.tee(found)  # what was read is used again
        return again

    def _with_rarest(self, asked: tuple[str, ...]) -> Iterable[Sequence[int]]:
        if self._pool is not None:
            return ((listing,) for listing in self._pool)
        match = self._match(self._rarest(asked)[0])
        return self._db.execute(f"{_MATCH} {self._bounds} ORDER BY rowid DESC", (match,))

    def count(self, asked: tuple[str, ...], most: int) -> int:
        """Return the number of candidates; if there are more than `most`, it may be too low."""
        held = 0
        for batch in self.candidates(asked):
            held += len(batch)
            if held >= most:
                break
        return held

    def holding(self, asked: tuple[str, ...], listings: Iterable[int]) -> set[int]:
        """Return the candidates that hold the other words too."""
        others = asked if self._pool is not None else self._rarest(asked)[1]
        if not others:
            return set(listings)
        # Nearly all listings hold a frequent word, so a condition on it would exclude few.
        condition, values = may_hold(word for word in others if self.share(word) < _FREQUENT)
        held = self._db.execute(
            "SELECT id, text, spaced_words FROM listings WHERE id IN "
            f"(SELECT value FROM json_each(?)) {condition}",
            [id_list(listings), *values],
        )
        return {row["id"] for row in held if holds_all(others, row["text"], row["spaced_words"])}

    def _rarest(self, asked: tuple[str, ...]) -> tuple[list[str], list[str]]:
        """Return the words to ask the index for, rarest first, and those to look for in texts."""
        if asked not in self._split:
            # With one word there is nothing to choose.
            by_share = sorted((self.share(word) if len(asked) > 1 else 1, word) for word in asked)
            held, rare = 1.0, list[str]()  # held: the share of listings with all of rare
            for share, word in by_share:
                if rare and share > _STEPS * held * (1 - share):
                    break
                rare.append(word)
                held *= share
            self._split[asked] = rare, [word for _, word in by_share[len(rare) :]]
        return self._split[asked]

    def share(self, word: str) -> float:
        """Estimate the share of listings that hold a word.

        Frequent words are counted in a sample of listings, which is quicker than the index.
        """
        if word not in self._shares:
            held = sum(_holds_all([word], small) for small in self._some_listings)
            often = held and 5 * held >= len(self._some_listings)
            self._shares[word] = (
                held / len(self._some_listings) if often else self._share_by_index(word)
            )
        return self._shares[word]

    @cached_property
    def _some_listings(self) -> list[str]:
        """Return some listings as `_holds_all` reads them, none if any is malformed."""
        places = [self._newest - self._newest * part // _SAMPLE for part in range(_SAMPLE)]
        some = (
            "SELECT text, spaced_words FROM listings WHERE id IN (SELECT value FROM json_each(?))"
        )
        try:
            return [_small(*each) for each in self._db.execute(some, [id_list(places)])]
        except FAULTS as error:
            if not is_damage(error):
                raise
            return []

    def _share_by_index(self, word: str) -> float:
        """Estimate the share of listings that hold a word, from the newest that do."""
        found = self._db.execute(
            f"{_MATCH} ORDER BY rowid DESC LIMIT {_SAMPLE}", (self._match([word]),)
        ).fetchall()
        span = self._newest - (found[-1][0] if len(found) == _SAMPLE else 0) + 1
        return len(found) / span

    def _match(self, asked: Iterable[str]) -> str:
        return " AND ".join(word_question(word, self._longer) for word in asked)

    def _longer(self, word: str) -> str:
        """Return the index question for a word and all longer ones.

        Longer words with digits are left out, because the index holds their parts too.
        """
        if word not in self._known_longer:
            self._known_longer[word] = self._look_up_longer(word)
        return self._known_longer[word]

    def _look_up_longer(self, word: str) -> str:
        if not _may_be_begun(word):
            return f'"{word}"'
        # Neither the word itself nor the same with digits after it is looked for: ":" follows "9".
        found, least = [word], f"{word}:"
        while len(found) <= MOST_LONGER_WORDS:
            term = self._first_term("listing_words", least)
            if term is None or not term.startswith(word):
                return "(" + " OR ".join(f'"{each}"' for each in found) + ")"
            letters = _DIGIT.split(term, maxsplit=1)[0]
            if letters == term != word:
                found.append(term)
            least = letters + ":"  # the character after 9: those with digits are passed over
        return prefix_question(word)


def batches(found: Iterable[Any]) -> Iterator[list[int]]:
    """Yield the first columns of rows, in batches that grow."""
    least, most = _BATCHES
    given, rest = 0, (row[0] for row in found)
    while batch := list(itertools.islice(rest, min(max(least, given // 3), most))):
        yield batch
        given += len(batch)


def word_question(word: str, term: Callable[[str], str]) -> str:
    """Return an index question for a word as it is or split between letters and digits.

    A word holds only letters and digits, so quoting is safe.
    """
    parts = spaced(word).split()
    if len(parts) == 1:
        return term(word)
    return f"({term(word)} OR ({' AND '.join(map(term, parts))}))"


def prefix_question(word: str) -> str:
    """Return the index question for a word and all longer ones, as the index itself finds them."""
    return f'"{word}"*' if _may_be_begun(word) else f'"{word}"'


def may_hold(asked: Iterable[str]) -> tuple[str, list[object]]:
    """Return a quick SQL condition, beginning with AND, that all matching listings meet."""
    parts = [part for word in asked for part in spaced(word).split() if part.isascii()]
    condition = "AND instr(lower(text || ' ' || spaced_words), ?)"
    return " ".join([condition] * len(parts)), list(parts)


def holds_all(asked: Iterable[str], text: str, spaced_words: str) -> bool:
    """Return whether a listing holds all words, by the rules of the index."""
    return _holds_all(asked, _small(text, spaced_words))


def _small(text: str, spaced_words: str) -> str:
    return f"{text}\n{spaced_words}".lower()


def _holds_all(asked: Iterable[str], small: str) -> bool:
    return all(
        _stands(word, small) or all(_stands(part, small) for part in spaced(word).split())
        for word in asked
    )


def _stands(word: str, small: str) -> bool:
    """Return whether a text has a word as a whole word, or where one begins if longer words count.

    This is ten times as fast as a pattern, and one search may call it for a thousand listings.
    small: the text in small letters.
    """
    any_end, at = _may_be_begun(word), small.find(word)
    while at >= 0:
        end = at + len(word)
        if not (at and small[at - 1].isalnum()) and (
            any_end or end == len(small) or not small[end].isalnum()
        ):
            return True
        at = small.find(word, at + 1)
    return False


def _may_be_begun(word: str) -> bool:
    """Return whether a word also matches longer ones that begin with it."""
    return len(word) >= 3 and word.isalpha()
