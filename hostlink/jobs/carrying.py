"""Export the archive as a BagIt folder, and import a bag, another archive file or a folder."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from hostlink.archive import Archive
from hostlink.archive.bags import read_bag, write_bag
from hostlink.archive.merging import Merged
from hostlink.archive.times import stored
from hostlink.board.events import Warned
from hostlink.board.profile import Profile
from hostlink.errors import ArchiveError, HostlinkError
from hostlink.jobs.events import Emit, KeptAs
from hostlink.jobs.material import read_file

_SQLITE = b"SQLite format 3\x00"
_LISTINGS = (".bas", ".txt", ".lst")
_MOST_FILES = 10_000


@dataclass(frozen=True, slots=True)
class Imported:
    """added: rows that are new here, by kind. renamed: programs shown under another name here."""

    added: dict[str, int]
    renamed: dict[str, str]


def export(
    archive: Archive,
    target: Path,
    *,
    programs: tuple[str, ...] = (),
    since: datetime | None = None,
) -> dict[str, int]:
    """Write a new bag; returns how many records of each kind are in it. Raises ArchiveError."""
    cargo = archive.cargo(programs=programs, since=stored(since) if since else "")
    write_bag(cargo, target)
    return {name: len(records) for name, records in cargo.records.items()}


def import_from(archive: Archive, source: Path, profile: Profile, emit: Emit) -> Imported:
    """Take in a bag, an archive file, or a folder of plain listings, told apart by what it is.

    profile: for measuring plain listings. Raises ArchiveError: then nothing was taken in (a plain
    folder: then what was kept so far stays).
    """
    if source.is_dir():
        if (source / "bagit.txt").exists():
            return _as_imported(archive.merge(read_bag(source)))
        return _import_folder(archive, source, profile, emit)
    try:
        with source.open("rb") as file:
            begins = file.read(len(_SQLITE))
    except OSError as error:
        raise ArchiveError(
            f"{source} cannot be read: {error.strerror}.", kept="Nothing was taken in."
        ) from error
    if begins != _SQLITE:
        raise ArchiveError(
            f"{source} is neither a bag, an archive nor a folder of listings.",
            kept="Nothing was taken in.",
            advice="A single listing is kept by loading it, or from a folder with it.",
        )
    return _as_imported(archive.merge_file(source))


def _as_imported(merged: Merged) -> Imported:
    return Imported(dict(merged.added), dict(merged.renamed))


def _import_folder(archive: Archive, folder: Path, profile: Profile, emit: Emit) -> Imported:
    """Keep each listing of a folder as a program named after its file; others are passed over."""
    paths = sorted(
        path
        for path in folder.iterdir()
        if path.suffix.lower() in _LISTINGS and path.is_file() and not path.is_symlink()
    )
    if not paths or len(paths) > _MOST_FILES:
        raise ArchiveError(
            f"{folder} holds {len(paths):,} listings ({', '.join(_LISTINGS)}).",
            kept="Nothing was taken in.",
            advice=f"Name a folder with 1 to {_MOST_FILES:,} of them.",
        )
    new = 0
    for path in paths:
        try:
            material = read_file(path)
            kept = archive.keep(material.name, material.content(profile), material.origin)
        except HostlinkError as error:
            emit(Warned(f"Passed over: {error}"))
            continue
        new += kept.is_new
        emit(KeptAs(kept.revision.spec, kept.is_new, kept.revision.size_bytes or 0))
    return Imported({"revisions": new}, {})
