"""Healing: what the disk damaged is replaced by the same content, given once more from elsewhere.

Only bytes with the SHA-256 that was recorded take the place of damaged ones, so that nothing is
changed that was kept; the row stays the same row. Each healing is recorded as an event.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator

from sqlite_utils import Database

from hostlink.archive.archive_file import ArchiveFile, new_uuid
from hostlink.archive.database.checksums import is_sound, is_whole
from hostlink.archive.database.faults import DamagedError, damaged
from hostlink.archive.database.rows import Row, checked, insert, replace, rows
from hostlink.archive.database.tables import TABLES
from hostlink.archive.listings import listing_columns, proven_content
from hostlink.archive.naming import owners
from hostlink.archive.records import Content


class Healing(ArchiveFile):
    """Replacing damaged bytes by the same bytes."""

    def heal(self, content: Content) -> list[str]:
        """Replace kept listings that are damaged by this one, where it is the same by its hashes.

        Returns the specs of the revisions, rescues and backups that are whole again, mostly none.
        Raises ArchiveError: then nothing was changed.
        """
        with self.reading("What the archive holds of this listing") as db:
            damaged = list(_damaged_alike(db, content))
        if not damaged:
            return []
        with self.writing("The healed listing") as db:
            specs = [spec for row in damaged for spec in owners(db, row["id"])]
            for row in damaged:
                replace(db, "listings", row["id"], _as_it_was(row, content))
            self._record_healing(db, {"sha256": content.sha256, "of": specs})
        return specs

    def heal_image(self, row: Row, data: bytes, *, part: str = "", name: str = "") -> None:
        """Replace a firmware image where it is damaged, by the same bytes.

        row: of firmware_images. part, name: what to note of it where that was lost too.
        For use inside `writing`. Raises DamagedError where these bytes have another SHA-256.
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
    """Rows of listings with both hashes of a content that are no longer as they were written."""
    found = rows(
        db,
        f"SELECT {TABLES['listings'].names} FROM listings "
        "WHERE sha256 = ? AND canonical_sha256 = ?",
        (bytes.fromhex(content.sha256), bytes.fromhex(content.canonical_sha256)),
    )
    for row in found:
        try:
            proven_content(checked(db, "listings", row["id"]), "This listing")
        except DamagedError:
            yield row


def _as_it_was(row: Row, content: Content) -> Row:
    """The columns of a damaged row as they were, or as this content would have them."""
    if isinstance(row["profile"], str) and isinstance(row["charset"], str):
        like = dataclasses.replace(content, profile=row["profile"], charset=row["charset"])
        columns = {**listing_columns(like), "spaced_words": row["spaced_words"]}
        if is_whole(TABLES["listings"], {**row, **columns}):
            return columns
    return listing_columns(content)
