"""What can be read from a firmware image without running it: words, texts and speeds.

What is not found may be there anyway: an image may pack its texts, or compute its speed.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass

from hostlink.firmware.image_speeds import SpeedSetting, find_speeds
from hostlink.firmware.image_texts import ImageText, find_texts
from hostlink.firmware.word_tables import WordTable, find_word_tables


@dataclass(frozen=True, slots=True)
class ImageKnowledge:
    """What an image shows. tables: of BASIC words. texts: for people. speeds: set by constants."""

    tables: tuple[WordTable, ...]
    texts: tuple[ImageText, ...]
    speeds: tuple[SpeedSetting, ...]

    @property
    def words(self) -> tuple[str, ...]:
        """Return the words of its BASIC in the order of its tables, each once."""
        return tuple(dict.fromkeys(word for table in self.tables for word in table.words))

    @property
    def has_basic(self) -> bool:
        """Return whether a table of BASIC words was found."""
        return bool(self.tables)

    @property
    def bauds(self) -> tuple[int, ...]:
        """Return the speeds that the constants can mean, in baud, the likeliest first."""
        meant = (baud for speed in self.speeds for baud, _ in speed.meanings())
        return tuple(dict.fromkeys(meant))


@dataclass(frozen=True, slots=True)
class ImageChanges:
    """How an image differs from another one: words and texts that came and went."""

    new_words: tuple[str, ...]
    gone_words: tuple[str, ...]
    new_texts: tuple[str, ...]
    gone_texts: tuple[str, ...]


@functools.lru_cache(maxsize=4)
def read_image(flash: bytes) -> ImageKnowledge:
    """Find the words, texts and speeds in an image. flash: its bytes from address 0."""
    tables = find_word_tables(flash)
    outside = [(table.start, table.stop) for table in tables]
    return ImageKnowledge(tables, find_texts(flash, outside), find_speeds(flash))


def compare_images(now: ImageKnowledge, before: ImageKnowledge) -> ImageChanges:
    """Return the words and texts that an image adds to an earlier one, and those it lacks."""
    texts = [text.text for text in now.texts]
    old = [text.text for text in before.texts]
    return ImageChanges(
        _without(now.words, before.words),
        _without(before.words, now.words),
        _without(texts, old),
        _without(old, texts),
    )


def _without(these: Iterable[str], those: Iterable[str]) -> tuple[str, ...]:
    """Return the items of one list that the other lacks, each once."""
    known = set(those)
    return tuple(dict.fromkeys(each for each in these if each not in known))
