"""The command history: the revisions of a program and what each one changed."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import click

from hostlink.archive.times import local_text
from hostlink.cli.commands.programs import item_dict, size_words, source_words
from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import tell_damaged
from hostlink.cli.options import shared
from hostlink.cli.output import as_json, listing_text, table
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
@click.option(
    "--sizes", is_flag=True, help="Draw how its size grew, with the board's limit marked."
)
@shared(profile=True, json=True)
def history(common: CommonOptions, program: str, *, sizes: bool) -> int:
    """Show the revisions of a program.

    Size, source, and what changed from one to the next; the oldest revision comes first.
    """
    from hostlink.ruler import size_chart

    with common.reading() as archive:
        if program.casefold().startswith("rescue@"):
            raise _has_no_revisions(archive.revision(program).spec)
        revisions = archive.history(program)
        earlier = _earlier(revisions)
        changes, lost = _changes(archive, revisions, earlier)
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
    elif sizes:
        limit, width = common.the_profile().rules.storage.room, shutil.get_terminal_size().columns
        sized = [(each.number, each.size_bytes) for each in revisions]
        listing_text(size_chart(sized, limit, width))
    else:
        _show(revisions, changes, earlier)
    return tell_damaged((*revisions.damaged, *lost))


def _earlier(revisions: Sequence[Revision]) -> list[Revision | None]:
    """Return the revision with which each is compared: the one from which it was made.

    After a merge that may be some rows up. A revision that equals the row above it, as when two
    computers kept the same change, is compared with that row.
    """
    by_spec = {revision.spec: revision for revision in revisions}
    above = [None, *revisions[:-1]]
    return [
        before
        if before and before.sha256 == revision.sha256
        else by_spec.get(revision.parent, before)
        for revision, before in zip(revisions, above, strict=False)
    ]


def _show(
    revisions: Sequence[Revision],
    changes: Sequence[dict[str, int] | None],
    earlier: Sequence[Revision | None],
) -> None:
    """Print the revisions as a table. changes, earlier: from `_changes` and `_earlier`."""
    above = [None, *revisions[:-1]]
    table(
        ["revision", "kept", "bytes", "lines", "change", "from", "note"],
        [
            [
                revision.spec,
                local_text(revision.at),
                size_words(revision.size_bytes),
                revision.line_count,
                _change_text(revision, change, before)
                + (f" since {before.spec}" if before and before is not row_above else ""),
                source_words(revision.origin),
                revision.note,
            ]
            for revision, change, before, row_above in zip(
                revisions, changes, earlier, above, strict=False
            )
        ],
        right=("bytes", "lines"),
    )


def _changes(
    archive: Archive, revisions: Sequence[Revision], earlier: Sequence[Revision | None]
) -> tuple[list[dict[str, int] | None], list[str]]:
    """Count the lines that each revision added, removed and changed, and describe any damage.

    earlier: what each is compared with. The counts are None if that is None, or if either of the
    two listings is damaged.
    """
    from hostlink.listing import Listing
    from hostlink.listing import compare as compare_listings

    listings: dict[str, Listing] = {}
    lost: list[str] = []
    for revision in revisions:
        try:
            listings[revision.spec] = Listing.from_text(archive.content(revision).text)
        except ArchiveError as error:
            lost.append(error.what)
    changes: list[dict[str, int] | None] = []
    for revision, other in zip(revisions, earlier, strict=True):
        before, listing = listings.get(other.spec if other else ""), listings.get(revision.spec)
        if before is None or listing is None:
            changes.append(None)
            continue
        differs = compare_listings(before, listing)
        changes.append(
            {
                "added": len(differs.added),
                "removed": len(differs.removed),
                "changed": len(differs.changed),
            }
        )
    return changes, lost


def _change_text(revision: Revision, change: dict[str, int] | None, before: Revision | None) -> str:
    """Describe a revision's changes. before: what it is compared with."""
    if change is None or before is None:
        return "not known" if before else "first"
    parts = [f"{count} {word}" for word, count in change.items() if count]
    return ", ".join(parts) or ("none" if revision.sha256 == before.sha256 else "line ends only")
