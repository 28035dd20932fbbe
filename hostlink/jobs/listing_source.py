"""Finding the listing named by the user: a file, a program, a revision, a shipped program."""

from __future__ import annotations

import os
import re
import shlex
import stat
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from hostlink.archive import Archive, Content, Origin, Revision
from hostlink.board.profile.model import Profile
from hostlink.errors import ArchiveError, ArchiveReason, HostlinkError, ListingError
from hostlink.jobs.files import read_bytes
from hostlink.listing import Listing, canonical, decode_listing, measure, to_text
from hostlink.publish.details import ProgramDetails
from hostlink.publish.sheet_file import page_kind, read_sheet
from hostlink.reading import near_files
from hostlink.shipped import library_folder
from hostlink.words import nearest, unaccented

SHIPPED = "shipped:"
STANDARD_INPUT = "standard input"
NO_DETAILS = ProgramDetails()
_NAME = re.compile(r"[^A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True)
class Shipped:
    """A shipped example program, as described in the index.

    inputs: what to type when it asks. pins: the input at its pins, as ms, pin, value. runs_on: the
    kinds of board on which it runs, adapted.
    """

    name: str
    path: Path
    title: str
    notes: str
    tags: tuple[str, ...]
    author: str
    licence: str
    inputs: tuple[str, ...] = ()
    runs_on: tuple[str, ...] = ()
    pins: tuple[tuple[int, str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Adaptation:
    """What a listing was adapted from. source, target: the boards it was for and is for."""

    original: Material
    source: Profile
    target: Profile


@dataclass(frozen=True, slots=True)
class Material:
    """A listing and its source.

    name: its program name, "" if it has none. label: its name in messages. raw, charset: its exact
    bytes and their codec. revision: set if the archive holds it as one. shipped: set for a shipped
    example. details: from a listing sheet. held: the content in the archive of a revision or a
    rescue, as measured then. adapted: set if it was adapted for a board.
    """

    name: str
    label: str
    text: str
    raw: bytes
    charset: str
    origin: Origin
    revision: Revision | None = None
    shipped: Shipped | None = None
    details: ProgramDetails = NO_DETAILS
    held: Content | None = None
    adapted: Adaptation | None = None

    @property
    def listing(self) -> Listing:
        """Return the text as parsed lines."""
        return Listing.from_text(self.text)

    @property
    def is_from_board(self) -> bool:
        """Return whether the archive holds the listing as captured from a board."""
        return self.held is not None and self.origin.kind in ("board", "rescue")

    @property
    def word(self) -> str:
        """Return the word that names the listing on a command line."""
        if self.shipped is not None:
            return f"{SHIPPED}{self.name}"
        return "-" if self.label == STANDARD_INPUT else shlex.quote(self.label)

    def content(self, profile: Profile) -> Content:
        """Return the listing as content for the archive, measured for a kind of board."""
        return content_of(self.listing, self.raw, self.charset, profile)


def content_of(listing: Listing, raw: bytes, charset: str, profile: Profile) -> Content:
    """Return a listing as content for the archive: exact bytes, text, canonical form and cost."""
    return Content(
        raw=raw,
        text=listing.text(),
        canonical=canonical(listing, profile.rules),
        profile=profile.name,
        charset=charset,
        size_bytes=measure(listing, profile.rules).total,
    )


def read_file(path: Path, *, charset: str = "utf-8") -> Material:
    """Read a listing file. Raises ListingError if it cannot be read or is not a listing."""
    return from_bytes(read_bytes(path), str(path), name=program_name(path.stem), charset=charset)


def from_bytes(raw: bytes, where: str, *, name: str, charset: str = "utf-8") -> Material:
    """Return the listing in the bytes of a listing file, or of a sheet, checked by its codes.

    Raises ListingError, also for a page of another kind made by hostlink.
    """
    text = decode_listing(raw, name=where, charset=charset)
    if page_kind(text):
        sheet = read_sheet(text, name=where)
        name = program_name(sheet.details.name) or name
        held = sheet.text.encode("utf-8")
        return Material(
            name, where, sheet.text, held, "utf-8", Origin("file", where), details=sheet.details
        )
    origin = Origin("library", name) if is_shipped(name, raw) else Origin("file", where)
    return Material(name, where, text, raw, "utf-8", origin)


def is_shipped(name: str, raw: bytes) -> bool:
    """Return whether a listing is the shipped program of its name.

    A file that equals it continues the shipped program's history, so that it stays one program
    when the archives of two computers are merged.
    """
    try:
        shipped = (library_folder() / f"{name.lower()}.bas").read_bytes()
    except (OSError, HostlinkError):
        return False
    return raw.replace(b"\r\n", b"\n") == shipped


def is_file(path: Path) -> bool:
    """Return whether there is a file or a pipe at path. Never raises.

    A device counts as neither, since opening one might restart a board.
    """
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):  # a name too long, a NUL in it
        return False
    return stat.S_ISREG(mode) or stat.S_ISFIFO(mode)


def program_name(stem: str) -> str:
    """Return a program name made from a file's stem: plain capitals, - for other characters."""
    return _NAME.sub("-", unaccented(stem)).strip("-").upper()[:40]


def shipped_programs() -> dict[str, Shipped]:
    """Return the shipped programs by name, in the order of the index."""
    folder = library_folder()
    index = tomllib.loads((folder / "index.toml").read_text(encoding="utf-8"))
    entries = (
        Shipped(
            program_name(Path(entry["file"]).stem),
            folder / entry["file"],
            entry["title"],
            entry["notes"],
            tuple(entry["tags"]),
            entry["author"],
            entry["licence"],
            tuple(entry["inputs"]),
            tuple(entry["runs_on"]),
            tuple((ms, pin, value) for ms, pin, value in entry.get("pins", ())),
        )
        for entry in index["program"]
    )
    return {entry.name: entry for entry in entries}


def shipped_as(material: Material) -> Shipped | None:
    """Return the shipped program that a listing is identical to, None for any other listing."""
    origin = material.origin
    return shipped_programs().get(origin.where.upper()) if origin.kind == "library" else None


def find_material(what: str, archive: Archive | None, *, stdin: bytes | None = None) -> Material:
    """Find the listing named `what`: "-" (stdin), a file, NAME, NAME@3 or a shipped program.

    `shipped:NAME` means the shipped one even if the archive has a program of that name.

    Raises ListingError or ArchiveError with the name and similar ones.
    """
    if what == "-":
        return from_bytes(stdin or b"", STANDARD_INPUT, name="")
    path = Path(what)
    if is_file(path):
        return read_file(path)
    if os.path.isdir(what):  # noqa: PTH112 - unlike Path.is_dir it never raises
        raise ListingError(f"{what} is a folder, not a listing.", advice="Name a file in it.")
    if os.path.exists(what):  # noqa: PTH110 - as above
        raise ListingError(f"{what} is a device, not a listing.", kept="It was not opened.")
    if what.startswith(SHIPPED):
        return read_shipped(what.removeprefix(SHIPPED).upper())
    if "@" in what and archive is not None:
        return from_archive(what, archive)
    unknown: ArchiveError | None = None
    if archive is not None:
        try:
            return from_archive(what, archive)
        except ArchiveError as error:
            if error.reason is ArchiveReason.UNKNOWN:
                raise  # it may be there, and cannot be read
            unknown = error
    shipped = shipped_programs()
    if what.upper() in shipped:
        return read_shipped(what.upper())
    raise _unknown(what, archive, shipped) from unknown


def _unknown(what: str, archive: Archive | None, shipped: Iterable[str]) -> ListingError:
    """Return the error for a listing that was not found, with similar names."""
    kept = archive.programs(retired=None) if archive is not None else []
    near = nearest(Path(what).stem, [*(program.name for program in kept), *shipped])
    near += near_files(Path(what))
    return ListingError(
        f'There is no file, no program in the archive and no shipped program called "{what[:80]}".',
        advice=f"Similar: {', '.join(near)}."
        if near
        else lambda by: (
            f"List what is in the archive {by.programs}, the shipped programs "
            f"{by.shipped_programs}."
        ),
    )


def from_archive(spec: str, archive: Archive) -> Material:
    """Return a revision (NAME, NAME@3) or a rescue (rescue@2) of the archive."""
    item = archive.revision(spec)
    content = archive.content(item)
    revision = item if isinstance(item, Revision) else None
    return Material(
        item.program,
        item.spec,
        content.text,
        content.raw,
        content.charset,
        item.origin,
        revision,
        held=content,
    )


def read_shipped(name: str) -> Material:
    """Return a shipped program; its title, notes and tags are kept with it."""
    known = shipped_programs()
    if name not in known:
        raise ListingError(
            f'There is no shipped program called "{name}".',
            advice=lambda by: f"List them {by.shipped_programs}.",
        )
    shipped = known[name]
    raw = shipped.path.read_bytes()
    return Material(
        name,
        f"the shipped {name}",
        to_text(raw, "latin-1"),
        raw,
        "utf-8",
        Origin("library", name),
        shipped=shipped,
        details=ProgramDetails(name, shipped.title, shipped.author, shipped.licence, shipped.notes),
    )
