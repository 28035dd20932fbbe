"""Backups: all that one board held at one moment, kept together, numbered, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlite_utils import Database

from hostlink.archive.listings import check_content, content_of, put_listing
from hostlink.archive.lookup import board_id
from hostlink.archive.names import clean, fold
from hostlink.archive.records import Content
from hostlink.archive.session import Row, Session, first, insert, new_uuid, rows
from hostlink.archive.times import read
from hostlink.errors import ArchiveError

BACKUP = "backup"
ItemKind = Literal["memory", "stored"]


@dataclass(frozen=True, slots=True)
class BackupItem:
    """One program in a backup: the one in memory, or a stored one by its slot's name."""

    kind: ItemKind
    content: Content
    captures: int
    slot: str = ""

    @property
    def name(self) -> str:
        """How a person names it within its backup."""
        return self.slot if self.kind == "stored" else "memory"


@dataclass(frozen=True, slots=True)
class Backup:
    """What one board held. where: the port. banner: what the board said of itself, "" if unheard.

    free_bytes: by the board's own word, or None. after_restart: the board had restarted before.
    """

    uuid: str
    number: int
    board_uuid: str
    board: str
    profile: str
    where: str
    banner: str
    free_bytes: int | None
    after_restart: bool
    note: str
    at: datetime
    items: tuple[BackupItem, ...]

    @property
    def spec(self) -> str:
        """How a person names it: backup@NUMBER."""
        return f"{BACKUP}@{self.number}"


_BACKUP = (
    "SELECT backups.*, boards.uuid AS board_uuid, boards.label AS board FROM backups "
    "JOIN boards ON boards.id = backups.board_id"
)


class Backups(Session):
    """Keeping and finding backups."""

    def keep_backup(
        self,
        board_uuid: str,
        items: Sequence[BackupItem],
        *,
        profile: str,
        where: str = "",
        banner: str = "",
        free_bytes: int | None = None,
        after_restart: bool = False,
        note: str = "",
    ) -> Backup:
        """Keep a backup; when this returns all of it is on the disk. Raises ArchiveError."""
        for item in items:
            check_content(item.content)
        with self.writing("The backup") as db:
            number = db.execute(
                "SELECT coalesce(max(number), 0) + 1 FROM backups WHERE archive_id = 1"
            ).fetchone()[0]
            backup = insert(
                db,
                "backups",
                uuid=new_uuid(),
                archive_id=1,
                number=number,
                board_id=board_id(db, board_uuid),
                profile=clean(profile),
                origin_where=clean(where),
                banner=clean(banner),
                free_bytes=free_bytes,
                after_restart=int(after_restart),
                note=clean(note),
                made_at=self._time(),
            )
            for item in items:
                insert(
                    db,
                    "backup_items",
                    uuid=new_uuid(),
                    backup_id=backup,
                    kind=item.kind,
                    slot=clean(item.slot),
                    listing_id=put_listing(db, item.content),
                    size_bytes=item.content.size_bytes,
                    captures=item.captures,
                )
            (row,) = rows(db, f"{_BACKUP} WHERE backups.id = ?", (backup,))
            return _backup(db, row)

    def backups(self, *, board_uuid: str | None = None, limit: int | None = None) -> list[Backup]:
        """Backups, newest first: all, or those of one board."""
        with self.reading("The backups") as db:
            board = None if board_uuid is None else board_id(db, board_uuid)
            found = rows(
                db,
                f"{_BACKUP} WHERE coalesce(backups.board_id = ?, 1) "
                "ORDER BY backups.id DESC LIMIT ?",
                (board, -1 if limit is None else limit),
            )
            return [_backup(db, row) for row in found]

    def backup(self, spec: str) -> Backup:
        """The backup of that spec, such as backup@3. Raises ArchiveError."""
        name, _, digits = spec.strip().partition("@")
        if fold(name) != BACKUP or not (digits.isascii() and digits.isdigit() and len(digits) < 10):
            raise ArchiveError(
                f"{spec!r} names no backup.",
                advice="Write backup@ and its number; `hostlink backup --list` shows them.",
            )
        with self.reading(f"The backup {spec}") as db:
            row = first(
                db,
                f"{_BACKUP} WHERE backups.number = ? ORDER BY backups.archive_id LIMIT 1",
                (int(digits),),
            )
            if row is None:
                last = db.execute("SELECT max(number) FROM backups").fetchone()[0]
                raise ArchiveError(
                    f"There is no backup {digits} in the archive.",
                    advice=f"The last one is backup@{last}." if last else "None was made yet.",
                )
            return _backup(db, row)


def _backup(db: Database, row: Row) -> Backup:
    items = rows(
        db,
        "SELECT kind, slot, captures, backup_items.size_bytes AS size_bytes, listings.raw, "
        "listings.canonical, listings.text, listings.profile, listings.charset "
        "FROM backup_items JOIN listings ON listings.id = backup_items.listing_id "
        "WHERE backup_id = ? ORDER BY backup_items.id",
        (row["id"],),
    )
    return Backup(
        uuid=row["uuid"],
        number=row["number"],
        board_uuid=row["board_uuid"],
        board=row["board"],
        profile=row["profile"],
        where=row["origin_where"],
        banner=row["banner"],
        free_bytes=row["free_bytes"],
        after_restart=bool(row["after_restart"]),
        note=row["note"],
        at=read(row["made_at"]),
        items=tuple(
            BackupItem(item["kind"], content_of(item), item["captures"], item["slot"])
            for item in items
        ),
    )
