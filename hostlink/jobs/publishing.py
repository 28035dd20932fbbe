"""Pages to give away: the sheet of a program and the card of a board, written and read back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from hostlink.archive import Archive
from hostlink.board.profile.model import Profile
from hostlink.jobs.files import read_bytes, write_new
from hostlink.jobs.listing_source import Material
from hostlink.listing import decode_listing
from hostlink.listing.finding import without_silence
from hostlink.publish.details import Matter
from hostlink.publish.sheet_file import SheetRead, read_sheet


def matter_of(material: Material, archive: Archive | None) -> Matter:
    """What is known of a program: its title and note in the archive, where it is there.

    Which review rules the note silences is for the review alone. Raises ArchiveError.
    """
    known = replace(material.matter, name=material.name)
    if material.revision is not None and archive is not None:
        program = archive.program(material.name)
        known = replace(known, title=program.title, notes=program.note)
    return replace(known, notes=without_silence(known.notes))


def write_sheet(
    path: Path, material: Material, profile: Profile, matter: Matter, *, replace: bool
) -> None:
    """Write the sheet of a listing. Raises what `publish.sheet.sheet` and `write_new` raise."""
    from hostlink.publish.sheet import sheet

    page = sheet(material.listing, profile, matter)
    write_new(path, page.encode("utf-8"), replace=replace)


def write_card(path: Path, profile: Profile, *, replace: bool) -> None:
    """Write the card of a kind of board. Raises what `write_new` raises."""
    from hostlink.publish.card import card

    write_new(path, card(profile).encode("utf-8"), replace=replace)


def read_sheet_file(path: Path) -> SheetRead:
    """A sheet read back from its file. Raises ListingError where it cannot be, or is no sheet."""
    name = str(path)
    return read_sheet(decode_listing(read_bytes(path), name=name), name=name)
