"""Offer programs, listings or tags from the archive for a line to fill in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from hostlink.app.screens.filling import LineOffer
from hostlink.archive.times import local_text
from hostlink.words import fold, natural, plural

if TYPE_CHECKING:
    from hostlink.archive import Archive, Rescue, Revision

_Names = Sequence[tuple[str, str]]


def offer_programs(archive: Archive) -> LineOffer:
    """Offer the programs in use, for a line that takes several."""
    programs = _programs(archive)
    return LineOffer(lambda typed: _beginning(typed, programs), many=True)


def offer_tags(archive: Archive) -> LineOffer:
    """Offer the tags in use, the most frequent first."""
    used = Counter(tag for program in archive.programs(retired=None) for tag in program.tags)
    tags = sorted(used, key=lambda tag: (-used[tag], natural(tag)))
    on = [(tag, f"on {plural(used[tag], 'program')}") for tag in tags]
    return LineOffer(lambda typed: _beginning(typed, on), many=True)


def offer_listings(archive: Archive) -> LineOffer:
    """Offer programs and rescues, and the revisions of a program once its name is typed."""
    programs = _programs(archive)
    rescues = _kept(archive.rescues())

    def names(typed: str) -> _Names:
        wanted = fold(typed.partition("@")[0])
        known = next((name for name, _ in programs if fold(name) == wanted), "")
        revisions = _kept(archive.history(known)) if known else []
        return _beginning(typed, [*programs, *revisions, *rescues])

    return LineOffer(names)


def _programs(archive: Archive) -> _Names:
    return [(program.name, program.title) for program in archive.programs()]


def _kept(listings: Iterable[Revision | Rescue]) -> _Names:
    """Return listings with their size and when they were kept, the newest first."""
    return [
        (one.spec, f"{plural(one.line_count, 'line')}, kept {local_text(one.at, '%Y-%m-%d %H:%M')}")
        for one in sorted(listings, key=lambda one: one.at, reverse=True)
    ]


def _beginning(typed: str, names: Iterable[tuple[str, str]]) -> _Names:
    return [one for one in names if fold(one[0]).startswith(fold(typed))]
