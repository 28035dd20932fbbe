"""Find revisions and rescues, and the rows that they consist of."""

from __future__ import annotations

from typing import Any

from sqlite_utils import Database

from hostlink.archive.database.database_errors import DamagedError, damaged, index_damaged
from hostlink.archive.database.joined import Part, Parts, Records
from hostlink.archive.database.rows import Row, checked_row, first, found_by, rows, update
from hostlink.archive.names import Spec, clean, is_program_name, unknown_program
from hostlink.archive.records import Origin, Rescue, Revision
from hostlink.archive.times import parse_utc
from hostlink.errors import ArchiveError, ArchiveReason
from hostlink.words import fold, safe

HERE = 1
"""The row of this archive in archives."""
IN_ORDER = "CAST(printf('%012d', revisions.number) || revisions.kept_at || revisions.uuid AS BLOB)"
"""Orders the revisions of a program: by number, whatever clock they were dated by; where two
archives gave the same number, by time."""


def archive_mark(archive: Row) -> str:
    """Return the UUID of the archive that gave a number, or "" for this one."""
    return "" if archive["id"] == HERE else str(archive["uuid"])


def numbered_spec(name: object, number: object, archive: Row) -> str:
    """Return the spec of something numbered: NAME@3, or NAME@3/12345678 of another archive."""
    mark = archive_mark(archive)
    return f"{name}@{number}{f'/{mark[:8]}' if mark else ''}"


def _origin(row: Row, board: Row | None) -> Origin:
    return Origin(
        kind=row["origin"],
        where=row["origin_where"],
        board_uuid=None if board is None else board["uuid"],
        note=row["note"],
        captures=row["captures"],
        after_restart=bool(row["after_restart"]),
        unproven=row["unproven"],
    )


def _held(row: Row, parts: Parts, lost: list[str]) -> dict[str, Any]:
    """Return the fields that revisions and rescues share."""
    listing = parts["listings"]
    return {
        "uuid": row["uuid"],
        "number": row["number"],
        "at": parse_utc(row["kept_at"]),
        "origin": _origin(row, parts.get("boards", lost)),
        "sha256": listing["sha256"].hex(),
        "canonical_sha256": listing["canonical_sha256"].hex(),
        "profile": listing["profile"],
        "size_bytes": row["size_bytes"],
        "line_count": listing["line_count"],
        "archive": archive_mark(parts["archives"]),
    }


def _revision(parts: Parts, lost: list[str]) -> Revision:
    row, note = parts["revisions"], parts.get("note", lost)
    if note is not None and note["revision_id"] != row["id"]:
        lost.append(index_damaged(f"the notes on {parts.what}").what)
        note = None
    return Revision(
        program=_program_name(parts, "programs"),
        parent=revision_spec(parts, "parent", lost),
        note=row["note"] if note is None else note["text"],
        **_held(row, parts, lost),
    )


def revision_parts(name: str, reference: str) -> tuple[Part, ...]:
    """Return the parts of a join that name a revision. reference: the column that refers to it."""
    return (
        Part(name, "revisions", f"{name}.id = {reference}"),
        Part(f"{name}_program", "programs", f"{name}_program.id = {name}.program_id"),
        Part(f"{name}_archive", "archives", f"{name}_archive.id = {name}.archive_id"),
    )


def revision_spec(parts: Parts, name: str, lost: list[str]) -> str:
    """Return the spec of the revision in `revision_parts`, or "" if missing or damaged."""
    revision, archive = parts.get(name, lost), parts.get(f"{name}_archive", lost)
    program = owner_name(parts, f"{name}_program", lost)
    if revision is None or archive is None or not program:
        return ""
    return numbered_spec(program, revision["number"], archive)


def _rescue(parts: Parts, lost: list[str]) -> Rescue:
    program = owner_name(parts, "programs", lost)
    return Rescue(program=program, **_held(parts["rescues"], parts, lost))


def owner_name(parts: Parts, part: str, lost: list[str]) -> str:
    """Return the name of the program a record refers to, or "" if missing or damaged."""
    try:
        return _program_name(parts, part) if parts.has(part) else ""
    except DamagedError:
        lost.append(f"{parts.what}: the record of its program is damaged.")
        return ""


def _program_name(parts: Parts, part: str) -> str:
    """Return a program's name; from a damaged row only if its folded form confirms it."""
    try:
        return str(parts[part]["name"])
    except DamagedError:
        row = parts.unproven(part)
        name = row["name"]
        if isinstance(name, str) and fold(name) == row["name_key"] and is_program_name(name):
            return name
        raise


REVISIONS = Records(
    (
        Part("revisions", "revisions"),
        Part("programs", "programs", "programs.id = revisions.program_id"),
        Part("listings", "listings", "listings.id = revisions.listing_id"),
        Part("archives", "archives", "archives.id = revisions.archive_id"),
        Part("boards", "boards", "boards.id = revisions.board_id"),
        Part(
            "note",
            "notes",
            "note.id = (SELECT max(id) FROM notes WHERE notes.revision_id = revisions.id)",
        ),
        *revision_parts("parent", "revisions.parent_id"),
    ),
    _revision,
    lambda shown: f"{shown['programs.name']}@{shown['revisions.number']}",
)

RESCUES = Records(
    (
        Part("rescues", "rescues"),
        Part("listings", "listings", "listings.id = rescues.listing_id"),
        Part("archives", "archives", "archives.id = rescues.archive_id"),
        Part("programs", "programs", "programs.id = rescues.program_id"),
        Part("boards", "boards", "boards.id = rescues.board_id"),
    ),
    _rescue,
    lambda shown: f"rescue@{shown['rescues.number']}",
)


def given_by(table: str) -> str:
    """Return an SQL condition; its parameter is the start of the numbering archive's UUID."""
    return (
        f"EXISTS (SELECT 1 FROM archives WHERE archives.id = {table}.archive_id "
        "AND archives.uuid LIKE ? || '%')"
    )


def find_program(db: Database, name: str) -> int | None:
    """Return the id of a program by name, or None. Raises DamagedError for a damaged index."""
    key = fold(clean(name).strip())
    held = first(db, "SELECT id, name FROM programs WHERE name_key = ?", (key,))
    if held is None:
        # A damaged index would hide the program, or allow its name twice.
        unseen = "SELECT id FROM programs NOT INDEXED WHERE name_key = ? OR lower(name) = ?"
        if first(db, unseen, (key, key)) is None:
            return None
    if held is None or fold(str(held["name"])) != key:
        raise index_damaged(name)
    return int(held["id"])


def known_program(db: Database, name: str) -> int | None:
    """Return the id of a program by name, or None if it has no name, is missing or is damaged."""
    try:
        return find_program(db, name) if name else None
    except DamagedError:
        return None


def program_id(db: Database, name: str) -> int:
    """Return the id of a program by its name. Raises ArchiveError with the nearest names."""
    row_id = find_program(db, name)
    if row_id is None:
        names = [safe(str(row["name"])) for row in rows(db, "SELECT name FROM programs")]
        raise unknown_program(name, names)
    return row_id


def program_at(db: Database, row_id: int, name: str) -> Row:
    """Return the row of a program. name: the subject of the error. Raises DamagedError."""
    try:
        return checked_row(db, "programs", row_id)
    except DamagedError as error:
        raise damaged(name) from error


def board_id(db: Database, board_uuid: str) -> int:
    """Return the id of a board by its UUID. Raises ArchiveError."""
    held = first(db, "SELECT id FROM boards WHERE uuid = ?", (board_uuid,))
    if held is None:
        raise ArchiveError(
            f"The archive knows no board {board_uuid}.", reason=ArchiveReason.NOT_THERE
        )
    return int(held["id"])


def find_spec(db: Database, named: Spec) -> Revision | Rescue:
    """Return the revision or rescue that a spec names. Raises ArchiveError."""
    if named.is_rescue:
        return _find_rescue(db, named)
    if named.number is None:
        program = program_at(db, program_id(db, named.name), named.name)
        latest = latest_revision(db, program)
        if latest is None:
            raise ArchiveError(f"{named.name} has no revision.", reason=ArchiveReason.NOT_THERE)
        return latest
    row_id = program_id(db, named.name)
    # For equal numbers, this archive's own revision comes before merged ones.
    found = REVISIONS.first(
        db,
        "WHERE revisions.program_id = ? AND revisions.number = ? "
        f"AND {given_by('revisions')} ORDER BY revisions.archive_id",
        (row_id, named.number, named.archive),
    )
    if found is None:
        last = first(
            db, "SELECT max(number) AS number FROM revisions WHERE program_id = ?", (row_id,)
        )
        upto = f"Its revisions go up to {last['number']}. " if last and last["number"] else ""
        raise ArchiveError(
            f"{named.name} has no revision {named.number}.",
            reason=ArchiveReason.NOT_THERE,
            advice=lambda by: f"{upto}List them {by.history(named.name)}.",
        )
    if found.number != named.number or fold(found.program) != fold(clean(named.name).strip()):
        raise index_damaged(f"{named.name}@{named.number}")
    return found


def _find_rescue(db: Database, named: Spec) -> Rescue:
    found = RESCUES.first(
        db,
        f"WHERE coalesce(rescues.number = ?, 1) AND {given_by('rescues')} "
        "ORDER BY rescues.archive_id, rescues.id DESC",
        (named.number, named.archive),
    )
    if found is None:
        which = "no rescue" if named.number is None else f"no rescue {named.number}"
        raise ArchiveError(
            f"There is {which} in the archive.",
            reason=ArchiveReason.NOT_THERE,
            advice=lambda by: f"List them {by.rescues}.",
        )
    return found


def latest_revision(db: Database, program: Row) -> Revision | None:
    """Return the latest revision of a program, or None. program: its row."""
    if program["latest_id"] is None:
        return None
    return REVISIONS.at(db, program["latest_id"])


def count_revisions(db: Database, program: int) -> None:
    """Update the number of revisions and the latest one in the row of a program."""
    of_it = "FROM revisions WHERE program_id = ?"
    found = first(
        db,
        f"SELECT (SELECT count(*) {of_it}) AS revision_count, "
        f"(SELECT id {of_it} ORDER BY {IN_ORDER} DESC LIMIT 1) AS latest_id",
        (program, program),
    )
    assert found is not None
    held = checked_row(db, "programs", program)
    if any(held[name] != value for name, value in found.items()):
        update(db, "programs", program, **found)


def parent_id(db: Database, parent: Revision | None) -> int | None:
    """Return the row id of a revision, None for None. Raises ArchiveError if it is missing."""
    if parent is None:
        return None
    held = found_by(db, "revisions", "uuid", parent.uuid)
    if held is None:
        raise ArchiveError(
            f"This archive lacks the revision it was made from, {safe(parent.spec)}."
        )
    return int(held["id"])
