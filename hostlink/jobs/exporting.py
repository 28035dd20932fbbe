"""Export the archive as a BagIt folder, and import a bag or another archive file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from hostlink.archive import Archive
from hostlink.archive.exchange.bag_reading import open_bag
from hostlink.archive.exchange.bags import write_bag
from hostlink.archive.exchange.merging import Merged
from hostlink.archive.times import stored
from hostlink.errors import ArchiveError

_SQLITE = b"SQLite format 3\x00"


@dataclass(frozen=True, slots=True)
class Imported:
    """added: rows that are new here, by kind. renamed: programs shown under another name here.

    healed: what was damaged here and is whole again. left_out: what was damaged there, in words.
    copies: the marks of copies of an archive that went on by themselves, as in NAME@3/12345678.
    retired: programs that are retired here now because they were there.
    """

    added: dict[str, int]
    renamed: dict[str, str]
    healed: tuple[str, ...]
    left_out: tuple[str, ...]
    copies: tuple[str, ...]
    retired: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Exported:
    """counts: records in the bag, by kind. left_out: what was damaged and is not, in words."""

    counts: dict[str, int]
    left_out: tuple[str, ...]


def export(
    archive: Archive,
    target: Path,
    *,
    programs: tuple[str, ...] = (),
    since: datetime | None = None,
) -> Exported:
    """Write a new bag with all that is whole. Raises ArchiveError."""
    with archive.records(programs=programs, since=stored(since) if since else "") as records:
        counts = write_bag(records, target)
        return Exported(counts, tuple(records.left_out))


def import_from(archive: Archive, source: Path) -> Imported:
    """Take in a bag or an archive file, told apart by what it is.

    Raises ArchiveError: then nothing was taken in.
    """
    if source.is_dir():
        if (source / "bagit.txt").exists():
            with open_bag(source) as records:
                return _as_imported(archive.merge(records))
        raise ArchiveError(
            f"{source} is no BagIt folder.",
            kept="Nothing was taken in.",
            advice=lambda by: f"If it holds listings, keep them {by.keep(str(source))}.",
        )
    if source.exists() and not source.is_file():
        raise ArchiveError(
            f"{source} is neither a file nor a folder.",
            kept="Nothing was taken in.",
            advice="Name a BagIt folder or an archive.",
        )
    try:
        with source.open("rb") as file:
            begins = file.read(len(_SQLITE))
    except OSError as error:
        raise ArchiveError(
            f"{source} cannot be read: {error.strerror}.",
            kept="Nothing was taken in.",
            advice="Check the name of the file or folder.",
        ) from error
    if begins != _SQLITE:
        raise ArchiveError(
            f"{source} is neither a BagIt folder nor an archive.",
            kept="Nothing was taken in.",
            advice=lambda by: f"If it is a listing, keep it {by.keep(str(source))}.",
        )
    return _as_imported(archive.merge_file(source))


def _as_imported(merged: Merged) -> Imported:
    return Imported(
        dict(merged.added),
        dict(merged.renamed),
        merged.healed,
        merged.left_out,
        tuple(copy[:8] for copy in merged.copies),
        merged.retired,
    )
