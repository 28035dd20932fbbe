"""Repair damaged content with the same content from another source.

Only bytes with the recorded SHA-256 replace damaged ones, so that nothing kept changes. The row
stays the same row, and each repair is recorded as an event.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator

from sqlite_utils import Database

from hostlink.archive.archive_file import ArchiveFile, new_uuid
from hostlink.archive.database.checksums import is_sound, is_whole
from hostlink.archive.database.database_errors import DamagedError, damaged
from hostlink.archive.database.rows import Row, checked_row, insert, replace, rows
from hostlink.archive.database.tables import TABLES
from hostlink.archive.listings import listing_columns, proven_content
from hostlink.archive.naming import owners
from hostlink.archive.records import Content


class Healing(ArchiveFile):
    """The archive's methods that repair damaged content."""

    def heal(self, content: Content) -> list[str]:
        """Replace damaged listings whose hashes match this content.

        Returns the specs of the repaired revisions, rescues and backups, usually none. Raises
        ArchiveError, and changes nothing then.
        """
        with self.reading("The kept copy of this listing") as db:
            broken = list(_damaged_alike(db, content))
        if not broken:
            return []
        with self.writing("The healed listing") as db:
            specs = [spec for row in broken for spec in owners(db, row["id"])]
            for row in broken:
                replace(db, "listings", row["id"], _as_it_was(row, content))
            self._record_healing(db, {"sha256": content.sha256, "of": specs})
        return specs

    def heal_image(self, row: Row, data: bytes, *, part: str = "", name: str = "") -> None:
        """Repair a damaged firmware image with the same bytes, inside `writing`.

        row: of firmware_images. part, name: used if these are damaged too. Raises DamagedError if
        the bytes have another SHA-256.
        """
        table = TABLES["firmware_images"]
        is_kept = is_whole(table, row)
        if is_kept and is_sound(row["data"], row["sha256"]):
            return
        if not is_sound(data, row["sha256"]):
            raise damaged(f"The firmware image {row['uuid']}")
        values: dict[str, object] = {"data": data}
        if not is_kept:
            uuid = row["uuid"] if table.columns[0].fits(row["uuid"]) else new_uuid()
            values |= {"uuid": uuid, "part": part, "name": name, "kept_at": self._time()}
        with self.writing("The healed firmware image") as db:
            replace(db, "firmware_images", row["id"], values)
            self._record_healing(
                db, {"sha256": row["sha256"].hex(), "of": [values.get("uuid", row["uuid"])]}
            )

    def _record_healing(self, db: Database, detail: dict[str, object]) -> None:
        at = self._time()
        insert(db, "events", uuid=new_uuid(), job="heal", started_at=at, ended_at=at,
               outcome="done", detail=json.dumps(detail))  # fmt: skip


def _damaged_alike(db: Database, content: Content) -> Iterator[Row]:
    """Yield the damaged rows of listings that have both hashes of a content."""
    found = rows(
        db,
        f"SELECT {TABLES['listings'].names} FROM listings "
        "WHERE sha256 = ? AND canonical_sha256 = ?",
        (bytes.fromhex(content.sha256), bytes.fromhex(content.canonical_sha256)),
    )
    for row in found:
        try:
            proven_content(checked_row(db, "listings", row["id"]), "This listing")
        except DamagedError:
            yield row


def _as_it_was(row: Row, content: Content) -> Row:
    """Return the columns of a damaged row, with the damaged ones taken from the content."""
    if isinstance(row["profile"], str) and isinstance(row["charset"], str):
        like = dataclasses.replace(content, profile=row["profile"], charset=row["charset"])
        columns = {**listing_columns(like), "spaced_words": row["spaced_words"]}
        if is_whole(TABLES["listings"], {**row, **columns}):
            return columns
    return listing_columns(content)
