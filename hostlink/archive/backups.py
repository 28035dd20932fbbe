"""Backups: all that one board held at one moment, kept together, numbered, never changed."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlite_utils import Database

from hostlink.archive.healing import Healing
from hostlink.archive.listings import check_content, content_of, proven_content, put_listing
from hostlink.archive.lookup import board_id, given_by
from hostlink.archive.names import clean, fold
from hostlink.archive.records import Content, elsewhere
from hostlink.archive.session import Row, first, insert, new_uuid, rows
from hostlink.archive.times import read
from hostlink.archive.trouble import from_row
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
    archive: the UUID of the archive that gave the number, "" for this one.
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
    archive: str = ""

    @property
    def spec(self) -> str:
        """How a person names it: backup@NUMBER, with the archive behind it if it is another's."""
        return f"{BACKUP}@{self.number}{elsewhere(self.archive)}"


_BACKUP = (
    "SELECT backups.*, boards.uuid AS board_uuid, boards.label AS board, "
    "coalesce((SELECT uuid FROM archives WHERE id = backups.archive_id AND id <> 1), '') "
    "AS archive FROM backups JOIN boards ON boards.id = backups.board_id"
)


class Backups(Healing):
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
                self.heal(item.content)
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
        """The backup of that spec, such as backup@3, every listing proven. Raises ArchiveError."""
        name, _, digits = spec.strip().partition("@")
        if fold(name) != BACKUP or not re.fullmatch(r"[0-9]{1,9}(/[0-9a-f-]+)?", digits):
            raise ArchiveError(
                f'"{spec}" names no backup.',
                advice="Write backup@ and its number; `hostlink backup --list` shows them.",
            )
        digits, _, archive = digits.partition("/")
        with self.reading(f"The backup {spec}") as db:
            row = first(
                db,
                f"{_BACKUP} WHERE backups.number = ? AND {given_by('backups')} "
                "ORDER BY backups.archive_id LIMIT 1",
                (int(digits), archive),
            )
            if row is None:
                last = db.execute("SELECT max(number) FROM backups").fetchone()[0]
                raise ArchiveError(
                    f"There is no backup {digits} in the archive.",
                    advice=f"The last one is backup@{last}." if last else "None was made yet.",
                )
            return _backup(db, row, content=proven_content)


@from_row("A backup")
def _backup(
    db: Database, row: Row, *, content: Callable[[Row, str], Content] = content_of
) -> Backup:
    """The value of a row. content: how the listings are read, proven or quickly."""
    items = rows(
        db,
        "SELECT kind, slot, captures, backup_items.size_bytes AS size_bytes, listings.raw, "
        "listings.canonical, listings.text, listings.profile, listings.charset, listings.sha256, "
        "listings.canonical_sha256 "
        "FROM backup_items JOIN listings ON listings.id = backup_items.listing_id "
        "WHERE backup_id = ? ORDER BY backup_items.id",
        (row["id"],),
    )
    which = f"A listing of backup@{row['number']}"
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
            BackupItem(item["kind"], content(item, which), item["captures"], item["slot"])
            for item in items
        ),
        archive=row["archive"],
    )
