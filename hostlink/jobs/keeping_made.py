"""Keep a listing with its details, or one that was made from another."""

from __future__ import annotations

from hostlink.archive import Archive, Content, Kept, Origin, Revision
from hostlink.board.profile.model import Profile
from hostlink.errors import UsageError
from hostlink.jobs.listing_source import Material, content_of
from hostlink.listing import Listing
from hostlink.sentences import UNNAMED_LISTING


def keep_with_details(
    archive: Archive,
    name: str,
    material: Material,
    content: Content,
    parent: Revision | None = None,
) -> Kept:
    """Keep a listing as the next revision of a program.

    A new program gets the title, note and tags of a shipped one, or those of a sheet. content: of
    the listing. parent: the revision that it was made from. Raises ArchiveError.
    """
    details, shipped = material.details, material.shipped
    kept = archive.keep(name, content, material.origin, title=details.title, parent=parent)
    if kept.is_new and kept.revision.number == 1:
        if note := details.as_note():
            archive.note(name, note)
        archive.tag(name, *(shipped.tags if shipped is not None else ()))
    return kept


def keep_made(
    archive: Archive,
    material: Material,
    listing: Listing,
    profiles: tuple[Profile, Profile],
    note: str,
    unproven: str = "",
) -> Revision:
    """Keep the listing as the next revision of the program of `material`.

    A material that the archive does not hold is kept first, so that the revision has a parent.
    profiles: those of the boards that the material and the listing are for. note: how the listing
    was made. unproven: what contradicts it. Raises UsageError if the material has no name.
    """
    own, target = profiles
    if not material.name:
        raise UsageError(
            UNNAMED_LISTING, advice="Give the listing as a file, or by the name of its program."
        )
    parent = material.revision
    if parent is None:
        held = material.content(own)
        parent = keep_with_details(archive, material.name, material, held).revision
    raw = listing.text().encode("utf-8", "replace")
    content = content_of(listing, raw, "utf-8", target)
    origin = Origin("edit", material.label, note=note, unproven=unproven)
    return archive.keep(parent.program, content, origin, parent=parent).revision
