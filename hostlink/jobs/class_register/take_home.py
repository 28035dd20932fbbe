"""What a class takes home: one page of all, and a folder with the work of each learner."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

from hostlink.archive import Archive
from hostlink.archive.names import file_name
from hostlink.archive.times import local_text
from hostlink.board.profile.file import profile_or_practice
from hostlink.errors import ListingError, RefusedError
from hostlink.jobs.class_register.class_table import HEADS, ClassRow
from hostlink.jobs.class_register.evening import own_work
from hostlink.jobs.class_register.register import Register
from hostlink.jobs.files import write_new
from hostlink.jobs.giving import into_folder
from hostlink.jobs.listing_source import from_archive
from hostlink.jobs.publishing import details_of
from hostlink.listing.bundle import Member
from hostlink.publish.program import publish
from hostlink.words import plural


def write_class_page(
    path: Path, register: Register, rows: Sequence[ClassRow], now: datetime, *, replace: bool
) -> str:
    """Write the table of a class as a page to print; return the sentence that says so.

    Raises what `write_new` raises.
    """
    from hostlink.publish.class_page import class_page

    page = class_page(register.title, local_text(now), HEADS, [row.cells(now) for row in rows])
    write_new(path, page.encode("utf-8"), replace=replace)
    return f"The table is in {path}."


def write_folders(
    folder: Path, archive: Archive, rows: Sequence[ClassRow], *, replace: bool
) -> str:
    """Write a folder for each learner: the listing, its sheet, and the history of their program.

    The listing is the learner's own program, or the handout if that was saved last. Return a
    sentence on what was written; it names the learners without saved work. Raises TakenError if
    a file exists and may not be replaced, RefusedError if there is nothing to write or it cannot
    be written.
    """
    without = [row.name for row in rows if not row.saved]
    files = [member for row in rows if row.saved for member in _files(archive, row)]
    if not files:
        raise RefusedError("No work of this class has been saved yet.", kept="Nothing was written.")
    into_folder(folder, files, replace=replace)
    nobody = f" Nothing has been saved from {', '.join(without)}." if without else ""
    return f"{plural(len(rows) - len(without), 'folder')} in {folder}.{nobody}"


def _files(archive: Archive, row: ClassRow) -> Iterator[Member]:
    """Yield the files of one learner, in a folder of the program's name."""
    from hostlink.publish.sheet import sheet

    inside = file_name(row.program.lower())
    own = own_work(row.program, archive)
    for material in (
        from_archive(row.saved, archive),
        *([own] if own is not None and row.as_handed_out else []),
    ):
        stem = f"{inside}/{file_name(material.name.lower())}"
        yield Member(f"{stem}.bas", material.listing.text().encode("utf-8"))
        profile = profile_or_practice(material.held.profile if material.held is not None else "")
        with contextlib.suppress(ListingError):  # a character may have no code
            page = sheet(publish(material.listing, profile, details_of(material, archive)))
            yield Member(f"{stem}.html", page.encode("utf-8"))
    history = _history(archive, row, own.name if own else "")
    yield Member(f"{inside}/history.txt", history.encode("utf-8"))


def _history(archive: Archive, row: ClassRow, own: str) -> str:
    """Return the history of a learner's program as text, a row for each revision.

    own: the program's name in the archive, "" if nothing is kept of it.
    """
    rows = [row.name, ""]
    if row.handed_out:
        rows.append(f"Handed out: {row.handed_out} {row.load}".rstrip())
    if row.as_handed_out:
        rows.append(f"Saved as handed out: {row.saved}")
    for each in archive.history(own) if own else ():
        size = f", {plural(each.size_bytes, 'byte')}" if each.size_bytes else ""
        doubt = f", {each.origin.unproven}" if each.origin.unproven else ""
        lines = plural(each.line_count, "line")
        rows.append(f"{each.spec}  {local_text(each.at)}  {lines}{size}{doubt}")
    return "\n".join([*rows, ""])
