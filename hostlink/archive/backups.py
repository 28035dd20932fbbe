"""Keep backups: everything that a board held at one moment, numbered and never changed."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlite_utils import Database

from hostlink.archive.archive_file import new_uuid
from hostlink.archive.database.database_errors import DamagedError, look_for_damage
from hostlink.archive.database.joined import Part, Parts, Records
from hostlink.archive.database.rows import insert
from hostlink.archive.healing import Healing
from hostlink.archive.listings import check_content, proven_content, put_listing
from hostlink.archive.lookup import HERE, archive_mark, board_id, given_by
from hostlink.archive.names import clean
from hostlink.archive.records import Content, Listed, elsewhere
from hostlink.archive.times import parse_utc
from hostlink.errors import ArchiveError, ArchiveReason
from hostlink.sentences import STILL_READABLE
from hostlink.words import fold

BACKUP = "backup"
ItemKind = Literal["memory", "stored"]


@dataclass(frozen=True, slots=True)
class BackupItem:
    """One program in a backup: the one in memory, or a stored one.

    name: of its slot. unproven: what contradicts its listing, or "".
    """

    kind: ItemKind
    content: Content
    captures: int
    slot: str = ""
    unproven: str = ""

    @property
    def name(self) -> str:
        """Return the name of the item within its backup."""
        return self.slot if self.kind == "stored" else "memory"

    @property
    def marked_name(self) -> str:
        """Return the name, marked if something contradicts the listing."""
        return f"{self.name} (not proven)" if self.unproven else self.name


@dataclass(frozen=True, slots=True)
class Backup:
    """Everything that one board held.

    where: the port. banner: the text the board showed at its start, "" if not heard. free_bytes: as
    reported by the board, or None. after_restart: the board had restarted before. archive: the UUID
    of the archive that numbered the backup, "" for this one.
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
        """Return the spec backup@NUMBER, followed by the archive if another one numbered it."""
        return f"{BACKUP}@{self.number}{elsewhere(self.archive)}"


def _put_item(db: Database, backup: int, item: BackupItem) -> None:
    """Add an item to a backup. backup: its row id."""
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
        unproven=clean(item.unproven),
    )


class Backups(Healing):
    """The archive's methods for backups."""

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
        """Keep a backup; it is on the disk when this returns. Raises ArchiveError."""
        for item in items:
            check_content(item.content)
        with self.writing("The backup") as db:
            number = db.execute(
                "SELECT coalesce(max(number), 0) + 1 FROM backups WHERE archive_id = ?", (HERE,)
            ).fetchone()[0]
            backup = insert(
                db,
                "backups",
                uuid=new_uuid(),
                archive_id=HERE,
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
                _put_item(db, backup, item)
            return _with_items(db, [_BACKUPS.at(db, backup)])[0]

    def backups(self, *, board_uuid: str | None = None, limit: int | None = None) -> Listed[Backup]:
        """Return the backups of all boards or of one, newest first."""
        with self.reading("The backups") as db:
            board = None if board_uuid is None else board_id(db, board_uuid)
            found = _BACKUPS.listed(
                db,
                "WHERE coalesce(backups.board_id = ?, 1) ORDER BY backups.id DESC LIMIT ?",
                (board, -1 if limit is None else limit),
            )
            whole = _with_items(db, found)
        return Listed(whole, (*found.damaged, *whole.damaged))

    def backup(self, spec: str) -> Backup:
        """Return the backup of a spec such as backup@3, proven. Raises ArchiveError."""
        name, _, digits = spec.strip().partition("@")
        if fold(name) != BACKUP or not re.fullmatch(r"[0-9]{1,9}(/[0-9a-f-]+)?", digits):
            raise ArchiveError(
                f'"{spec}" names no backup.',
                advice=lambda by: f"Write backup@ and its number; list them {by.backups}.",
            )
        digits, _, archive = digits.partition("/")
        with self.reading(f"The backup {spec}") as db:
            found = _BACKUPS.first(
                db,
                f"WHERE backups.number = ? AND {given_by('backups')} ORDER BY backups.archive_id",
                (int(digits), archive),
            )
            if found is None:
                last = db.execute("SELECT max(number) FROM backups").fetchone()[0]
                raise ArchiveError(
                    f"There is no backup {digits} in the archive.",
                    reason=ArchiveReason.NOT_THERE,
                    advice=f"The last one is backup@{last}."
                    if last
                    else "No backup has been made yet.",
                )
            whole = _with_items(db, [found])
        if whole.damaged:
            raise DamagedError(
                " ".join(whole.damaged),
                kept=STILL_READABLE,
                advice=look_for_damage,
            )
        return whole[0]


def _with_items(db: Database, found: Sequence[tuple[int, Backup]]) -> Listed[Backup]:
    """Return backups with their items, and sentences on what is damaged."""
    backups, lost = list[Backup](), list[str]()
    for row_id, backup in found:
        of_it = "WHERE items.backup_id = ? ORDER BY items.id"
        items = _ITEMS.listed(db, of_it, (row_id,))
        lost += items.damaged
        backups.append(dataclasses.replace(backup, items=tuple(items)))
    return Listed(backups, lost)


def _backup(parts: Parts, _: list[str]) -> tuple[int, Backup]:
    """Return a backup without its items, and its row id."""
    row, board = parts["backups"], parts["boards"]
    return int(row["id"]), Backup(
        uuid=row["uuid"],
        number=row["number"],
        board_uuid=board["uuid"],
        board=board["label"],
        profile=row["profile"],
        where=row["origin_where"],
        banner=row["banner"],
        free_bytes=row["free_bytes"],
        after_restart=bool(row["after_restart"]),
        note=row["note"],
        at=parse_utc(row["made_at"]),
        items=(),
        archive=archive_mark(parts["archives"]),
    )


def _item(parts: Parts, _: list[str]) -> BackupItem:
    row = parts["items"]
    content = proven_content(parts["listings"], parts.what, row["size_bytes"])
    return BackupItem(row["kind"], content, row["captures"], row["slot"], row["unproven"])


_BACKUPS = Records(
    (
        Part("backups", "backups"),
        Part("boards", "boards", "boards.id = backups.board_id"),
        Part("archives", "archives", "archives.id = backups.archive_id"),
    ),
    _backup,
    lambda shown: f"{BACKUP}@{shown['backups.number']}",
)
_ITEMS = Records(
    (
        Part("items", "backup_items"),
        Part("backups", "backups", "backups.id = items.backup_id"),
        Part("listings", "listings", "listings.id = items.listing_id", hashed=True),
    ),
    _item,
    lambda shown: (
        " ".join(f"{shown['items.kind']} {shown['items.slot']}".split())
        + f" of {BACKUP}@{shown['backups.number']}"
    ),
)
