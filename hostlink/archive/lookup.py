"""Finding revisions and rescues in the file, and reading their rows into values."""

from __future__ import annotations

import json
from typing import Any

from sqlite_utils import Database

from hostlink.archive.names import Spec, clean, fold, unknown_program
from hostlink.archive.records import Origin, Rescue, Revision
from hostlink.archive.session import Row, first, rows
from hostlink.archive.times import read
from hostlink.archive.trouble import from_row, printable
from hostlink.errors import ArchiveError

REVISION = """
SELECT
  revisions.id, revisions.listing_id, revisions.uuid,
  programs.name AS program, programs.uuid AS program_uuid,
  revisions.number, revisions.kept_at, revisions.size_bytes, revisions.origin,
  revisions.origin_where, boards.uuid AS board_uuid, revisions.note AS origin_note,
  revisions.captures, revisions.after_restart, listings.profile, listings.line_count,
  lower(hex(listings.sha256)) AS sha256, lower(hex(listings.canonical_sha256)) AS canonical_sha256,
  coalesce((SELECT notes.text FROM notes WHERE notes.revision_id = revisions.id
    ORDER BY notes.id DESC LIMIT 1), revisions.note) AS note,
  coalesce((SELECT uuid FROM archives WHERE id = revisions.archive_id AND id <> 1), '') AS archive,
  coalesce((SELECT owner.name || '@' || parent.number || coalesce(
      '/' || (SELECT substr(uuid, 1, 8) FROM archives WHERE id = parent.archive_id AND id <> 1),
      '') FROM revisions AS parent
    JOIN programs AS owner ON owner.id = parent.program_id
    WHERE parent.id = revisions.parent_id), '') AS parent
FROM revisions
JOIN programs ON programs.id = revisions.program_id
JOIN listings ON listings.id = revisions.listing_id
LEFT JOIN boards ON boards.id = revisions.board_id
"""

RESCUE = """
SELECT
  rescues.id, rescues.listing_id, rescues.uuid, rescues.number,
  coalesce(programs.name, '') AS program,
  coalesce((SELECT uuid FROM archives WHERE id = rescues.archive_id AND id <> 1), '') AS archive,
  rescues.kept_at, rescues.size_bytes, rescues.origin, rescues.origin_where,
  boards.uuid AS board_uuid, rescues.note AS origin_note, rescues.captures,
  rescues.after_restart, listings.profile, listings.line_count,
  lower(hex(listings.sha256)) AS sha256, lower(hex(listings.canonical_sha256)) AS canonical_sha256
FROM rescues
JOIN listings ON listings.id = rescues.listing_id
LEFT JOIN programs ON programs.id = rescues.program_id
LEFT JOIN boards ON boards.id = rescues.board_id
"""


def given_by(table: str) -> str:
    """A condition with one parameter: an archive gave the number whose UUID begins so."""
    return (
        f"EXISTS (SELECT 1 FROM archives WHERE archives.id = {table}.archive_id "
        "AND archives.uuid LIKE ? || '%')"
    )


def program_id(db: Database, name: str) -> int:
    """The id of a program by its name. Raises ArchiveError with the nearest names."""
    held = first(db, "SELECT id FROM programs WHERE name_key = ?", (fold(clean(name).strip()),))
    if held is None:
        names = [row["name"] for row in rows(db, "SELECT name FROM programs")]
        raise unknown_program(name, names)
    return int(held["id"])


def board_id(db: Database, board_uuid: str) -> int:
    """The id of a board by its UUID. Raises ArchiveError."""
    held = first(db, "SELECT id FROM boards WHERE uuid = ?", (board_uuid,))
    if held is None:
        raise ArchiveError(f"The archive knows no board {board_uuid}.")
    return int(held["id"])


def find_spec(db: Database, named: Spec) -> Revision | Rescue:
    """The revision or rescue that a spec names. Raises ArchiveError."""
    if named.is_rescue:
        return _find_rescue(db, named)
    program = program_id(db, named.name)
    if named.number is None:
        latest = latest_revision(db, program)
        if latest is None:
            raise ArchiveError(f"{named.name} has no revision.")
        return read_revision(latest)
    # Of one number, this archive's own revision comes before those that were merged in.
    row = first(
        db,
        f"{REVISION} WHERE revisions.program_id = ? AND revisions.number = ? "
        f"AND {given_by('revisions')} ORDER BY revisions.archive_id LIMIT 1",
        (program, named.number, named.archive),
    )
    if row is None:
        latest = latest_revision(db, program)
        upto = f"Its revisions go up to {latest['number']}; " if latest else ""
        raise ArchiveError(
            f"{named.name} has no revision {named.number}.",
            advice=f"{upto}`hostlink history {named.name}` shows them.",
        )
    return read_revision(row)


def _find_rescue(db: Database, named: Spec) -> Rescue:
    row = first(
        db,
        f"{RESCUE} WHERE coalesce(rescues.number = ?, 1) "
        f"AND {given_by('rescues')} "
        "ORDER BY rescues.archive_id, rescues.id DESC LIMIT 1",
        (named.number, named.archive),
    )
    if row is None:
        which = "no rescue" if named.number is None else f"no rescue {named.number}"
        raise ArchiveError(
            f"There is {which} in the archive.", advice="`hostlink programs --rescues` lists them."
        )
    return read_rescue(row)


def latest_revision(db: Database, program: int) -> Row | None:
    """The row of the revision that was kept last, here or in an archive that was merged in."""
    return first(
        db,
        f"{REVISION} WHERE revisions.program_id = ? "
        "ORDER BY revisions.kept_at DESC, revisions.number DESC, revisions.uuid DESC LIMIT 1",
        (program,),
    )


def parent_id(db: Database, parent: Revision | None) -> int | None:
    """The id of a revision that was read earlier. Raises ArchiveError."""
    if parent is None:
        return None
    held = first(db, "SELECT id FROM revisions WHERE uuid = ?", (parent.uuid,))
    if held is None:
        raise ArchiveError(
            f"The revision it was made from, {printable(parent.spec)}, is not in this archive."
        )
    return int(held["id"])


def revision_at(db: Database, row_id: int) -> Revision:
    """The revision of that row."""
    (row,) = rows(db, f"{REVISION} WHERE revisions.id = ?", (row_id,))
    return read_revision(row)


def revisions_at(db: Database, ids: list[int]) -> dict[int, Revision]:
    """The revisions of those rows by id, except any whose listing is lost."""
    found = rows(
        db, f"{REVISION} WHERE revisions.id IN (SELECT value FROM json_each(?))", (json.dumps(ids),)
    )
    return {row["id"]: read_revision(row) for row in found}


def rescue_at(db: Database, row_id: int) -> Rescue:
    """The rescue of that row."""
    (row,) = rows(db, f"{RESCUE} WHERE rescues.id = ?", (row_id,))
    return read_rescue(row)


def _origin(row: Row) -> Origin:
    return Origin(
        kind=row["origin"],
        where=row["origin_where"],
        board_uuid=row["board_uuid"],
        note=row["origin_note"],
        captures=row["captures"],
        after_restart=bool(row["after_restart"]),
    )


@from_row("A revision")
def read_revision(row: Row) -> Revision:
    """The value of a row of REVISION."""
    own = {name: row[name] for name in ("program_uuid", "parent", "note")}
    return Revision(**own, **_held(row))


@from_row("A rescue")
def read_rescue(row: Row) -> Rescue:
    """The value of a row of RESCUE."""
    return Rescue(**_held(row))


def _held(row: Row) -> dict[str, Any]:
    """What revisions and rescues have in common."""
    same = ("uuid", "number", "program", "sha256", "canonical_sha256", "profile")
    names = (*same, "size_bytes", "line_count", "archive")
    return {name: row[name] for name in names} | {
        "at": read(row["kept_at"]),
        "origin": _origin(row),
    }
