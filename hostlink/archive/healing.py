"""Healing: what the disk damaged is replaced by the same content, given once more from elsewhere.

Only bytes with the SHA-256 that was recorded take the place of damaged ones, so that nothing is
changed that was kept; the row stays the same row. Each healing is recorded as an event.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from sqlite_utils import Database

from hostlink.archive.listings import listing_columns, proven_content
from hostlink.archive.records import Content
from hostlink.archive.session import Row, Session, first, insert, new_uuid, rows
from hostlink.errors import ArchiveError


class Healing(Session):
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
                like = replace(content, profile=row["profile"], charset=row["charset"])
                columns = listing_columns(like)
                del columns["spaced_words"]  # is of the word index, and was not damaged
                _replace(db, "listings", row["id"], columns)
            self._record_healing(db, {"sha256": content.sha256, "of": specs})
        return specs

    def heal_image(self, row: Row, data: bytes) -> None:
        """Replace a firmware image's bytes where they are damaged and these are the right ones.

        row: of firmware_images. For use inside `writing`. Raises ArchiveError where neither the
        kept bytes nor these have the recorded SHA-256.
        """
        if is_sound(row["data"], row["sha256"]):
            return
        if not is_sound(data, row["sha256"]):
            raise ArchiveError(
                f"The firmware image {row['uuid']} is damaged in the archive.",
                kept="Nothing was changed.",
                advice="Run `hostlink archive prove`, and look for it in a duplicate.",
            )
        with self.writing("The healed firmware image") as db:
            _replace(db, "firmware_images", row["id"], {"data": data})
            self._record_healing(db, {"sha256": row["sha256"].hex(), "of": [row["uuid"]]})

    def _record_healing(self, db: Database, detail: dict[str, object]) -> None:
        at = self._time()
        insert(db, "events", uuid=new_uuid(), job="heal", started_at=at, ended_at=at,
               outcome="done", detail=json.dumps(detail))  # fmt: skip


def is_sound(data: object, sha256: object) -> bool:
    """Whether bytes have the SHA-256 (its 32 bytes) that was recorded for them."""
    return isinstance(data, bytes) and hashlib.sha256(data).digest() == sha256


def owners(db: Database, listing: int) -> list[str]:
    """The specs of all that has a listing, so that a person knows which one is meant."""
    found = rows(
        db,
        "SELECT programs.name || '@' || number AS spec FROM revisions "
        "JOIN programs ON programs.id = program_id WHERE listing_id = :id UNION ALL "
        "SELECT 'rescue@' || number FROM rescues WHERE listing_id = :id UNION ALL "
        "SELECT 'backup@' || number FROM backup_items "
        "JOIN backups ON backups.id = backup_id WHERE listing_id = :id",
        {"id": listing},
    )
    return [row["spec"] for row in found]


def _damaged_alike(db: Database, content: Content) -> Iterator[Row]:
    """Rows of listings with both hashes of a content whose bytes have them no longer."""
    found = rows(
        db,
        "SELECT *, NULL AS size_bytes FROM listings WHERE sha256 = ? AND canonical_sha256 = ?",
        (bytes.fromhex(content.sha256), bytes.fromhex(content.canonical_sha256)),
    )
    for row in found:
        try:
            proven_content(row, "This listing")
        except ArchiveError:
            yield row


def _replace(db: Database, table: str, row_id: int, columns: dict[str, object]) -> None:
    """Write columns of a row that is otherwise never changed."""
    with _rule_lifted(db, f"{table}_never_change"):
        names = ", ".join(f"{name} = ?" for name in columns)
        db.execute(f"UPDATE {table} SET {names} WHERE id = ?", [*columns.values(), row_id])


@contextmanager
def _rule_lifted(db: Database, trigger: str) -> Iterator[None]:
    """Take a trigger away for the block; inside a transaction, so that it cannot stay away."""
    held = first(
        db, "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?", (trigger,)
    )
    if held is not None:
        db.execute(f"DROP TRIGGER {trigger}")
    yield
    if held is not None:
        db.execute(held["sql"])
