"""Writing sheets, booklets and sites of programs, and cards of boards; reading a sheet back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hostlink.advice import Advice
from hostlink.archive import Archive
from hostlink.board.profile.model import Profile
from hostlink.errors import ListingError, RefusedError
from hostlink.jobs.files import folder_errors, read_bytes, write_new
from hostlink.jobs.giving import file_stem
from hostlink.jobs.language_of import known_profiles
from hostlink.jobs.listing_source import Material
from hostlink.jobs.rehearsing import is_rehearsal
from hostlink.listing import decode_listing
from hostlink.listing.finding import without_silence
from hostlink.publish.details import ProgramDetails
from hostlink.publish.program import PublishedProgram, SampleRun, publish
from hostlink.publish.sheet_file import SheetRead, page_kind, read_sheet
from hostlink.reading import read_at_most
from hostlink.sentences import LEFT_ALONE
from hostlink.words import plural

_MOST_ROWS = 60  # of what a program prints
_HEAD = 4000  # bytes that show what kind of page it is
_KEPT = "Nothing was written."


@dataclass(frozen=True, slots=True)
class SiteWritten:
    """The result of writing a site. written, same: files. left: pages no longer part of it."""

    written: tuple[str, ...]
    same: tuple[str, ...]
    left: tuple[str, ...]

    def sentence(self, folder: Path) -> str:
        """Return the sentence on what the folder holds and what was written."""
        programs = plural(len(self.written) + len(self.same) - 1, "program")
        return (
            f"The site of {programs} is in {folder}: {plural(len(self.written), 'page')} written, "
            f"{len(self.same):,} as before."
        )

    def remarks(self, folder: Path) -> list[str]:
        """Return a sentence for each page that was left as it is."""
        return [
            f"{folder / file} is the page of a program that was not chosen. {LEFT_ALONE}"
            for file in self.left
        ]


def details_of(material: Material, archive: Archive | None) -> ProgramDetails:
    """Return the details of a program, with its title and note from the archive if it is there.

    Lines of the note that silence review rules are left out. Raises ArchiveError.
    """
    known = replace(material.details, name=material.name)
    if material.revision is not None and archive is not None:
        program = archive.program(material.name)
        return replace(known, title=program.title).with_note(without_silence(program.note))
    return known.with_note(without_silence(known.notes))


def to_publish(
    materials: Sequence[Material], profile: Profile, archive: Archive | None
) -> tuple[list[PublishedProgram], list[tuple[str, Advice]]]:
    """Return the programs with details, and those for which no codes can be made, with reasons.

    Raises RefusedError if no program is left; ArchiveError.
    """
    found: list[PublishedProgram] = []
    left_out: list[tuple[str, Advice]] = []
    for material in materials:
        tags, sample = material.shipped.tags if material.shipped else (), None
        if material.revision is not None and archive is not None:
            tags = archive.program(material.name).tags
            sample = _sample(archive, material.revision.spec)
        try:
            details = details_of(material, archive)
            found.append(publish(material.listing, profile, details, tags, sample))
        except ListingError as error:
            left_out.append((material.label, error.what))
    if not found:
        why = f" {left_out[0][1]}" if left_out else ""
        raise RefusedError(f"No program was found to publish.{why}", kept=_KEPT)
    return found, left_out


def _sample(archive: Archive, spec: str) -> SampleRun | None:
    """Return what a revision printed in its newest expected run, else in the newest without error.

    The rows of an expected run without a board include what the program did at pins.
    """
    for expected in (True, False):
        for run in archive.runs(spec, expected=expected):
            if run.printed.rows and (run.expected or run.end.outcome == "done"):
                rows = run.printed.rows[:_MOST_ROWS]
                return SampleRun(rows, run.typed.rows, len(run.printed.rows) - len(rows))
    return None


def write_sheet(
    path: Path, material: Material, profile: Profile, details: ProgramDetails, *, replace: bool
) -> None:
    """Write the sheet of a listing. Raises what `publish` and `write_new` raise."""
    from hostlink.publish.sheet import sheet

    page = sheet(publish(material.listing, profile, details))
    write_new(path, page.encode("utf-8"), replace=replace)


def write_card(path: Path, profile: Profile, *, replace: bool) -> None:
    """Write the card of a kind of board. Raises what `write_new` raises."""
    from hostlink.publish.card import card

    write_new(path, card(profile).encode("utf-8"), replace=replace)


def write_booklet(
    path: Path, programs: Sequence[PublishedProgram], title: str, *, replace: bool
) -> str:
    """Write programs as a booklet; return the sentence that says so.

    Raises what `write_new` raises.
    """
    from hostlink.publish.booklet import booklet

    known = [profile.rules.language for profile in known_profiles().values()]
    write_new(path, booklet(programs, title, known).encode("utf-8"), replace=replace)
    return f"The booklet of {plural(len(programs), 'program')} is written to {path}."


def write_site(folder: Path, programs: Sequence[PublishedProgram], title: str) -> SiteWritten:
    """Write programs as a web site into a folder; unchanged files are left alone.

    Raises RefusedError if the folder is neither empty nor a site, holds a page that is not the
    site's, or a file cannot be written.
    """
    from hostlink.publish.site import CONTENTS, contents_page, page_of_program

    taken, by_file = {Path(CONTENTS).stem.upper()}, dict[str, PublishedProgram]()
    for each in programs:
        by_file[f"{file_stem(each.details.name, taken)}.html"] = each
    pages = {file: page_of_program(each) for file, each in by_file.items()}
    pages[CONTENTS] = contents_page(by_file, title)  # last, when all that it names are there
    there = _pages_in(folder)
    if not is_rehearsal():
        with folder_errors(folder, "made", kept=_KEPT):
            folder.mkdir(parents=True, exist_ok=True)
    written: list[str] = []
    for file, page in pages.items():
        data = page.encode("utf-8")
        if file not in there or read_bytes(folder / file, len(data)) != data:
            write_new(folder / file, data, replace=True)
            written.append(file)
    same = [file for file in pages if file not in written]
    return SiteWritten(tuple(written), tuple(same), tuple(sorted(there - pages.keys())))


def _pages_in(folder: Path) -> set[str]:
    """Return the names of the pages in a site's folder.

    Raises RefusedError if the folder is neither empty nor a site, or a page is not a site's.
    """
    from hostlink.publish.site import CONTENTS, CONTENTS_KIND, PROGRAM_KIND

    with folder_errors(folder, "read", kept=_KEPT):
        if not folder.exists():
            return set()
        inside = [each for each in folder.iterdir() if not each.name.startswith(".")]
        pages = {each.name: each for each in inside if each.suffix.lower() == ".html"}
        kinds = {
            name: page_kind(read_at_most(path, _HEAD).decode("utf-8", "replace"))
            for name, path in pages.items()
        }
    if inside and kinds.get(CONTENTS) != CONTENTS_KIND:
        raise RefusedError(
            f"{folder} holds other files, and is not a site that was written before.",
            kept=_KEPT,
            advice="Name a new folder, or an empty one.",
        )
    for name, kind in kinds.items():
        if kind != (CONTENTS_KIND if name == CONTENTS else PROGRAM_KIND):
            raise RefusedError(
                f"{folder / name} is not a page of the site.",
                kept="Nothing was written, since the page might have been overwritten.",
                advice="Move it to another folder.",
            )
    return set(pages)


def read_sheet_file(path: Path) -> SheetRead:
    """Read a sheet from its file. Raises ListingError if it cannot be read or is not a sheet."""
    name = str(path)
    return read_sheet(decode_listing(read_bytes(path), name=name), name=name)
