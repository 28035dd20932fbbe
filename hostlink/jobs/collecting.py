"""Keeping many listings at once, from files, folders, zip files and sheets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from hostlink.advice import Advice, join_advice
from hostlink.archive import Archive, Kept
from hostlink.archive.names import checked_name
from hostlink.board.profile.model import Profile
from hostlink.errors import HostlinkError, ListingError
from hostlink.jobs.files import folder_errors, read_bytes
from hostlink.jobs.keeping_made import keep_with_details
from hostlink.jobs.listing_source import (
    Material,
    find_material,
    from_bytes,
    is_file,
    program_name,
    read_file,
)
from hostlink.listing import Listing, review
from hostlink.listing.bundle import MOST_BYTES, MOST_MEMBERS, is_zip, read_zip
from hostlink.listing.mending.lookalike import lookalikes
from hostlink.sentences import check_it_is
from hostlink.words import natural

SUFFIXES = (".bas", ".txt", ".lst", ".html", ".htm")
"""The suffixes of listings in a folder or zip file; other files there are passed over."""


@dataclass(frozen=True, slots=True)
class Gathered:
    """The listings found, and what was left out: (where, why).

    passed_over: files of a folder or zip file without the suffix of a listing. folders: those
    inside a folder, which are not searched.
    """

    materials: tuple[Material, ...]
    left_out: tuple[tuple[str, Advice], ...]
    passed_over: tuple[str, ...]
    folders: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Collected:
    """The result: what was kept, with its listing, and what was left out, with the reason.

    remarks: sentences on kept listings that seem to be mistyped.
    """

    kept: tuple[tuple[Material, Kept], ...]
    left_out: tuple[tuple[str, Advice], ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Reading:
    """A listing that has not been read yet, and where it is."""

    where: str
    read: Callable[[], Material]


def gather(sources: Sequence[Path], profile: Profile, *, any_characters: bool = False) -> Gathered:
    """Read the listings of files, folders (without inner folders), zip files and sheets.

    Files that are not listings, cannot be read, or hold characters that the board does not have are
    left out, with the reason. any_characters: accept such characters.
    """
    found: list[Material] = []
    left_out: list[tuple[str, Advice]] = []
    passed_over: list[str] = []
    charset = profile.rules.form.charset
    for source in sources:
        try:
            readers = _readers(source, charset, passed_over)
        except HostlinkError as error:
            left_out.append((str(source), _why(error)))
            continue
        for each in readers:
            try:
                material = each.read()
                check_keepable(material, None if any_characters else profile)
            except HostlinkError as error:
                left_out.append((each.where, _why(error)))
            else:
                found.append(material)
    own = _own_names(found, left_out)
    inside = [each for source in sources if source.is_dir() for each in _folders_in(source)]
    return Gathered(tuple(own), tuple(left_out), tuple(passed_over), tuple(inside))


def gather_one(
    what: str,
    name: str,
    archive: Archive,
    profile: Profile,
    *,
    any_characters: bool = False,
    stdin: bytes | None = None,
) -> Gathered:
    """Read one listing to keep: a file, "-" for stdin, or a program of the archive.

    A listing from the archive keeps its origin. Raises HostlinkError if it cannot be kept.
    """
    material = replace(find_material(what, archive, stdin=stdin), name=name)
    if material.held is None:
        check_keepable(material, None if any_characters else profile)
    else:
        note = f"kept from {material.label}"
        material = replace(material, origin=replace(material.origin, note=note))
    return Gathered((material,), (), ())


def keep_all(archive: Archive, gathered: Gathered, profile: Profile) -> Collected:
    """Keep every listing as a revision of the program of its name, with the details of its sheet.

    One that cannot be kept is left out with the reason; the others are kept nevertheless.
    """
    kept: list[tuple[Material, Kept]] = []
    left_out = list(gathered.left_out)
    for material in gathered.materials:
        content = material.held or material.content(profile)
        try:
            one = keep_with_details(archive, material.name, material, content)
        except HostlinkError as error:
            left_out.append((material.label, _why(error)))
        else:
            kept.append((material, one))
    language = profile.rules.language
    remarks = [
        f"{material.label}, row {line.at:,}: {like.sentence}"
        for material, _ in kept
        for line in material.listing
        for like in lookalikes(line, language)
    ]
    return Collected(tuple(kept), tuple(left_out), tuple(remarks))


def _readers(source: Path, charset: str, passed_over: list[str]) -> list[_Reading]:
    """Return the listings to read from a source."""
    if source.is_dir():
        return _in_folder(source, charset, passed_over)
    if is_file(source) and source.suffix.lower() == ".zip":
        return _in_zip(source, charset, passed_over)
    return [_Reading(str(source), partial(read_file, source, charset=charset))]


def _folders_in(source: Path) -> list[str]:
    """Return the inner folders that may hold listings, in natural order; an export has none."""
    if (source / "bagit.txt").is_file():
        return []
    try:
        inside = [each for each in source.iterdir() if each.is_dir() and each.name[:1] != "."]
    except OSError:
        return []
    return [str(each) for each in sorted(inside, key=lambda each: natural(each.name))]


def _in_folder(source: Path, charset: str, passed_over: list[str]) -> list[_Reading]:
    if (source / "bagit.txt").is_file():
        raise ListingError(
            f"{source} is a BagIt folder, exported from an archive.",
            kept="Nothing was changed.",
            advice=lambda by: f"Import it {by.import_this(str(source))}.",
        )
    with folder_errors(source, "read", kind=ListingError, kept="Nothing was changed."):
        paths = [path for path in source.iterdir() if not path.name.startswith(".")]
    if len(paths) > MOST_MEMBERS:
        raise ListingError(
            f"The folder {source} holds {len(paths):,} files, more than {MOST_MEMBERS:,}.",
            kept="Nothing was changed.",
            advice=check_it_is("folder"),
        )
    paths.sort(key=lambda path: natural(path.name))
    passed_over += [
        str(path) for path in paths if path.suffix.lower() not in SUFFIXES and not path.is_dir()
    ]
    return [
        _Reading(str(path), partial(_read_regular, path, charset))
        for path in paths
        if path.suffix.lower() in SUFFIXES and not path.is_dir()
    ]


def _read_regular(path: Path, charset: str) -> Material:
    """Read a listing file of a folder. Raises ListingError for anything but a regular file.

    Reading a pipe may never end, and opening a device may restart a board.
    """
    if not path.is_file():
        raise ListingError("It is not a file.")
    return read_file(path, charset=charset)


def _in_zip(source: Path, charset: str, passed_over: list[str]) -> list[_Reading]:
    data = read_bytes(source, MOST_BYTES)
    if len(data) > MOST_BYTES or not is_zip(data):
        is_large = len(data) > MOST_BYTES
        why = f"is larger than {MOST_BYTES:,} bytes" if is_large else "is not a zip file"
        raise ListingError(
            f"{source} {why}.", kept="Nothing was changed.", advice="Name another file."
        )
    found: list[_Reading] = []
    for member in read_zip(data, name=str(source)):
        where = f"{source}: {member.name}"
        inside = Path(member.name)
        if inside.suffix.lower() in SUFFIXES:
            name = program_name(inside.stem)
            found.append(
                _Reading(where, partial(from_bytes, member.data, where, name=name, charset=charset))
            )
        else:
            passed_over.append(where)
    return found


def check_keepable(material: Material, profile: Profile | None) -> None:
    """Raise ListingError for a listing that has no numbered line, no name or a wrong character.

    profile: of the board whose characters are allowed; None allows all.
    """
    listing = Listing.from_text(material.text)
    if not listing.numbered():
        raise ListingError("It has no numbered line, so it is not a listing.")
    if not material.name:
        raise ListingError("Its name has no letter or digit, so it cannot name a program.")
    checked_name(material.name)
    if profile is None:
        return
    bad = [f for f in review(listing, profile.rules).findings if f.rule == "character-not-on-board"]
    if bad:
        raise ListingError(f"Row {bad[0].line_at:,}: {bad[0].message} Mend it first.")


def _why(error: HostlinkError) -> Advice:
    """Return the reason for leaving something out, with the advice."""
    return join_advice(error.what, error.advice)


def _own_names(found: list[Material], left_out: list[tuple[str, Advice]]) -> list[Material]:
    """Return the listings; one whose name an earlier one has is left out."""
    names: dict[str, Material] = {}
    for material in found:
        if material.name in names:
            other = names[material.name].label
            left_out.append((material.label, f"{other} has the same name, {material.name}."))
        else:
            names[material.name] = material
    return list(names.values())
