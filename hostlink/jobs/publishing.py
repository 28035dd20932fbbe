"""Writing the sheet of a program or the card of a board to a file, and reading a sheet back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from hostlink.archive import Archive
from hostlink.board.profile.model import Profile
from hostlink.jobs.files import read_bytes, write_new
from hostlink.jobs.listing_source import Material
from hostlink.listing import decode_listing
from hostlink.listing.finding import without_silence
from hostlink.publish.details import ProgramDetails
from hostlink.publish.sheet_file import SheetRead, read_sheet


def details_of(material: Material, archive: Archive | None) -> ProgramDetails:
    """Return the details of a program, with its title and note from the archive if it is there.

    Lines of the note that silence review rules are left out. Raises ArchiveError.
    """
    known = replace(material.details, name=material.name)
    if material.revision is not None and archive is not None:
        program = archive.program(material.name)
        known = replace(known, title=program.title, notes=program.note)
    return replace(known, notes=without_silence(known.notes))


def write_sheet(
    path: Path, material: Material, profile: Profile, details: ProgramDetails, *, replace: bool
) -> None:
    """Write the sheet of a listing. Raises what `publish.sheet.sheet` and `write_new` raise."""
    from hostlink.publish.sheet import sheet

    page = sheet(material.listing, profile, details)
    write_new(path, page.encode("utf-8"), replace=replace)


def write_card(path: Path, profile: Profile, *, replace: bool) -> None:
    """Write the card of a kind of board. Raises what `write_new` raises."""
    from hostlink.publish.card import card

    write_new(path, card(profile).encode("utf-8"), replace=replace)


def read_sheet_file(path: Path) -> SheetRead:
    """Read a sheet from its file. Raises ListingError if it cannot be read or is no sheet."""
    name = str(path)
    return read_sheet(decode_listing(read_bytes(path), name=name), name=name)
