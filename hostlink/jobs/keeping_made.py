"""Keep a listing that was made of another one, with that one as its parent."""

from __future__ import annotations

from hostlink.archive import Archive, Origin, Revision
from hostlink.board.profile.model import Profile
from hostlink.errors import UsageError
from hostlink.jobs.listing_source import Material, content_of
from hostlink.listing import Listing
from hostlink.sentences import UNNAMED_LISTING


def keep_made(
    archive: Archive,
    material: Material,
    listing: Listing,
    profiles: tuple[Profile, Profile],
    note: str,
    unproven: str = "",
) -> Revision:
    """Keep the listing as the next revision of the program of `material`.

    A material that the archive does not hold is kept first, so that the revision has its parent.
    profiles: of the board that the material is for, and of that of the listing. note: how it was
    made. unproven: what speaks against it. Raises UsageError if the material has no name.
    """
    own, target = profiles
    if not material.name:
        raise UsageError(
            UNNAMED_LISTING,
            advice="Give the listing as a file, or by the name of its program.",
        )
    parent = material.revision
    if parent is None:
        title = material.details.title
        held = material.content(own)
        parent = archive.keep(material.name, held, material.origin, title=title).revision
    raw = listing.text().encode("utf-8", "replace")
    content = content_of(listing, raw, "utf-8", target)
    origin = Origin("edit", material.label, note=note, unproven=unproven)
    return archive.keep(parent.program, content, origin, parent=parent).revision
