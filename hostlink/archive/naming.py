"""Name a row for people, whether it is damaged or not."""

from __future__ import annotations

from sqlite_utils import Database

from hostlink.archive.database.database_errors import FAULTS
from hostlink.archive.database.rows import first, rows
from hostlink.words import safe

_OWNERS = """
SELECT programs.name || '@' || number AS name FROM revisions
  JOIN programs ON programs.id = program_id WHERE listing_id = :id
UNION ALL SELECT 'rescue@' || number FROM rescues WHERE listing_id = :id
UNION ALL SELECT 'backup@' || number FROM backup_items
  JOIN backups ON backups.id = backup_id WHERE listing_id = :id
"""
_NAMES = {
    "boards": "SELECT 'the board ' || label AS name FROM boards WHERE id = :id",
    "programs": "SELECT name FROM programs WHERE id = :id",
    "listings": f"{_OWNERS} LIMIT 1",
    "revisions": "SELECT name || '@' || number AS name FROM revisions "
    "JOIN programs ON programs.id = program_id WHERE revisions.id = :id",
    "rescues": "SELECT 'rescue@' || number AS name FROM rescues WHERE id = :id",
    "notes": "SELECT 'a note on ' || name AS name FROM notes "
    "JOIN programs ON programs.id = program_id WHERE notes.id = :id",
    "tags": "SELECT 'a tag of ' || name AS name FROM tags "
    "JOIN programs ON programs.id = program_id WHERE tags.id = :id",
    "firmware_images": "SELECT 'the firmware image ' || name AS name FROM firmware_images "
    "WHERE id = :id",
    "backups": "SELECT 'backup@' || number AS name FROM backups WHERE id = :id",
    "backup_items": "SELECT kind || ' ' || slot || ' of backup@' || number AS name "
    "FROM backup_items JOIN backups ON backups.id = backup_id WHERE backup_items.id = :id",
    "runs": "SELECT 'run@' || number AS name FROM runs WHERE id = :id",
    "firmware_writes": "SELECT 'the firmware written ' || began_at AS name FROM firmware_writes "
    "WHERE id = :id",
    "events": "SELECT job || ' of ' || started_at AS name FROM events WHERE id = :id",
    "host_copies": "SELECT 'the host copy of ' || label AS name FROM host_copies "
    "JOIN boards ON boards.id = board_id WHERE board_id = :id",
}


def owners(db: Database, listing: int) -> list[str]:
    """Return the specs of everything that has a listing."""
    return [safe(str(row["name"])) for row in rows(db, _OWNERS, {"id": listing})]


def name_of(db: Database, table: str, row_id: int) -> str:
    """Return a phrase for a row, such as "row 3 of revisions (TIDE@2)"."""
    found = None
    if table in _NAMES:
        try:
            found = first(db, _NAMES[table], {"id": row_id})
        except FAULTS:
            found = None  # what it belongs to cannot be read either
    name = "" if found is None else f" ({' '.join(str(found['name']).split())})"
    return safe(f"row {row_id} of {table.replace('_', ' ')}{name}")
