"""The command history: the revisions of a program and what each one changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from hostlink.archive.times import local_text
from hostlink.cli.commands.programs import item_dict, size_words, source_words
from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import tell_damaged
from hostlink.cli.options import shared
from hostlink.cli.output import as_json, table
from hostlink.errors import ArchiveError, RefusedError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hostlink.archive import Archive, Revision


def _has_no_revisions(spec: str) -> RefusedError:
    return RefusedError(
        f"{spec} is a rescue, and has no revisions.",
        advice=f"`hostlink show {spec}` prints it; `hostlink keep {spec} --as PROGRAM` makes a "
        "revision of it.",
    )


@click.command()
@click.argument("program")
@shared(json=True)
def history(common: CommonOptions, program: str) -> int:
    """Show the revisions of a program.

    Size, source, and what changed from one to the next; the first revision stands first.
    """
    with common.reading() as archive:
        if program.casefold().startswith("rescue@"):
            raise _has_no_revisions(archive.revision(program).spec)
        revisions = archive.history(program)
        changes, lost = _changes(archive, revisions)
    if common.json:
        as_json(
            [
                {
                    **item_dict(revision),
                    "note": revision.note,
                    "parent": revision.parent or None,
                    "changes": change,
                }
                for revision, change in zip(revisions, changes, strict=True)
            ]
        )
    else:
        _show(revisions, changes)
    return tell_damaged((*revisions.damaged, *lost))


def _show(revisions: Sequence[Revision], changes: Sequence[dict[str, int] | None]) -> None:
    """Print the revisions as a table. changes: of each revision, as from `_changes`."""
    hashes_before = ["", *(revision.sha256 for revision in revisions[:-1])][: len(revisions)]
    table(
        ["revision", "kept", "bytes", "lines", "change", "from", "note"],
        [
            [
                revision.spec,
                local_text(revision.at),
                size_words(revision.size_bytes),
                revision.line_count,
                _change_text(
                    change, first=revision is revisions[0], equal=revision.sha256 == before
                ),
                source_words(revision.origin),
                revision.note,
            ]
            for revision, change, before in zip(revisions, changes, hashes_before, strict=True)
        ],
        right=("bytes", "lines"),
    )


def _changes(
    archive: Archive, revisions: Sequence[Revision]
) -> tuple[list[dict[str, int] | None], list[str]]:
    """Count the lines that each revision added, removed and changed, and describe any damage.

    The counts are None for the first revision and where either of the two listings is damaged.
    """
    from hostlink.listing import Listing
    from hostlink.listing import compare as compare_listings

    changes: list[dict[str, int] | None] = []
    lost: list[str] = []
    before: Listing | None = None
    for revision in revisions:
        listing = None
        try:
            listing = Listing.from_text(archive.content(revision).text)
        except ArchiveError as error:
            lost.append(error.what)
        if before is None or listing is None:
            changes.append(None)
        else:
            differs = compare_listings(before, listing)
            changes.append(
                {
                    "added": len(differs.added),
                    "removed": len(differs.removed),
                    "changed": len(differs.changed),
                }
            )
        before = listing
    return changes, lost


def _change_text(change: dict[str, int] | None, *, first: bool, equal: bool) -> str:
    """Describe a revision's changes.

    first: it is the first revision. equal: its bytes are those of the one before, as can happen
    after two archives were merged.
    """
    if change is None:
        return "first" if first else "not known"
    parts = [f"{count} {word}" for word, count in change.items() if count]
    return ", ".join(parts) or ("none" if equal else "line ends only")
