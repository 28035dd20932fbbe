"""Which revision each line of a program first came from."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.archive import Archive, Content, Revision
from hostlink.archive.records import Listed
from hostlink.board.profile.file import find_profile
from hostlink.errors import ArchiveError, HostlinkError
from hostlink.listing import Listing
from hostlink.listing.renumber import renumbering


@dataclass(frozen=True, slots=True)
class LineOrigin:
    """A line of a listing, as the board lists it, and the first revision that has this line.

    board: the label of the board that this came from, "" if there is none.
    """

    text: str
    revision: Revision
    board: str


def line_origins(archive: Archive, revision: Revision) -> Listed[LineOrigin]:
    """Return the lines of a revision with the earliest revision that has the same line.

    Number and text must be the same; but if a revision only renumbers the one before it, its lines
    keep their age. An earlier revision that cannot be read is left out and named in `damaged`.
    Raises ArchiveError if the revision itself cannot be read.
    """
    first: dict[str, Revision] = {}
    history = archive.history(revision.program)
    damaged = list(history.damaged)
    before: Content | None = None
    for one in history:
        try:
            content = archive.content(one)
        except ArchiveError as error:
            if one.uuid == revision.uuid:
                raise
            damaged.append(error.what)
            continue
        was = _renumbered(before, content) if before is not None else {}
        for row in content.canonical.splitlines():
            first.setdefault(row, first.get(was.get(row, row), one))
        if one.uuid == revision.uuid:
            break
        before = content
    rows = archive.content(revision).canonical.splitlines()
    labels = archive.board_labels()
    found = [(row, first.get(row, revision)) for row in rows]
    return Listed(
        (LineOrigin(row, one, labels.get(one.origin.board_uuid or "", "")) for row, one in found),
        damaged,
    )


def _renumbered(before: Content, content: Content) -> dict[str, str]:
    """Map the lines after a renumbering to those before it; {} if it was no renumbering."""
    old, new = (Listing.from_text(each.canonical) for each in (before, content))
    try:
        numbers = renumbering(old, new, find_profile(content.profile).rules)
    except HostlinkError:  # its profile is not here
        return {}
    old_lines, new_lines = old.numbered(), new.numbered()
    return {new_lines[to].typed: old_lines[at].typed for at, to in numbers.items()}
