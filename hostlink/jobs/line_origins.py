"""Which revision each line of a program first came from."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.archive import Archive, Revision
from hostlink.archive.records import Listed
from hostlink.errors import ArchiveError


@dataclass(frozen=True, slots=True)
class LineOrigin:
    """A line of a listing, as the board lists it, and the first revision that has it so.

    board: the label of the board that this came from, "" if there is none.
    """

    text: str
    revision: Revision
    board: str


def line_origins(archive: Archive, revision: Revision) -> Listed[LineOrigin]:
    """Return the lines of a revision with the earliest revision that has the same line.

    Number and text must be the same, so a line that was renumbered came with the renumbering. An
    earlier revision that cannot be read is left out and told in `damaged`. Raises ArchiveError if
    the revision itself cannot be read.
    """
    first: dict[str, Revision] = {}
    history = archive.history(revision.program)
    damaged = list(history.damaged)
    for one in history:
        if one.uuid == revision.uuid:
            break
        try:
            rows = archive.content(one).canonical.splitlines()
        except ArchiveError as error:
            damaged.append(error.what)
            continue
        for row in rows:
            first.setdefault(row, one)
    rows = archive.content(revision).canonical.splitlines()
    labels = archive.board_labels()
    found = [(row, first.get(row, revision)) for row in rows]
    return Listed(
        (LineOrigin(row, one, labels.get(one.origin.board_uuid or "", "")) for row, one in found),
        damaged,
    )
