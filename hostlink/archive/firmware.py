"""Keep firmware images, and record which one was written to which board and when."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from sqlite_utils import Database

from hostlink.archive.archive_file import new_uuid
from hostlink.archive.database.checksums import is_sound
from hostlink.archive.database.database_errors import not_in_archive
from hostlink.archive.database.joined import Part, Parts, Records
from hostlink.archive.database.rows import Row, checked_row, first, found_by, insert, update
from hostlink.archive.database.tables import TABLES
from hostlink.archive.healing import Healing
from hostlink.archive.lookup import board_id, numbered_spec
from hostlink.archive.names import clean
from hostlink.archive.records import Listed
from hostlink.archive.times import parse_utc, parse_utc_or_none
from hostlink.errors import ArchiveError

_TABLE = TABLES["firmware_images"]
Role = Literal["computer", "display"]
ROLES: tuple[Role, ...] = ("computer", "display")
"""What a board is in its machine: it runs the BASIC, or makes the picture."""


@dataclass(frozen=True, slots=True)
class FirmwareImage:
    """A kept image. flash: from address 0, without trailing blank bytes."""

    uuid: str
    sha256: str
    flash: bytes = field(repr=False)
    part: str
    name: str
    at: datetime

    @property
    def sound(self) -> bool:
        """Return whether the bytes match their SHA-256."""
        return is_sound(self.flash, bytes.fromhex(self.sha256))


@dataclass(frozen=True, slots=True)
class FirmwareWrite:
    """The writing of one image to one board.

    previous: the image in flash before, None if it was not read. backup: spec of the backup made
    before, or "". A write that was cut off has ended_at None and outcome ""; a finished one has
    outcome "done".
    """

    uuid: str
    board_uuid: str
    board: str
    image: FirmwareImage
    previous: FirmwareImage | None
    backup: str
    role: str
    part: str
    began_at: datetime
    ended_at: datetime | None
    outcome: str
    banner: str

    @property
    def is_finished(self) -> bool:
        """Return whether the write ended successfully; false if it failed or was cut off."""
        return self.outcome == "done"


class Firmware(Healing):
    """The archive's methods for firmware images and their writes."""

    def keep_image(self, flash: bytes, *, part: str = "", name: str = "") -> FirmwareImage:
        """Keep an image, unless the archive already holds it undamaged. Raises ArchiveError."""
        digest = hashlib.sha256(flash).digest()
        with self.writing("The firmware image") as db:
            held = first(
                db, f"SELECT {_TABLE.names} FROM firmware_images WHERE sha256 = ?", (digest,)
            )
            if held is not None:
                self.heal_image(held, flash, part=clean(part), name=clean(name))
            image = (
                insert(
                    db,
                    "firmware_images",
                    uuid=new_uuid(),
                    sha256=digest,
                    data=flash,
                    part=clean(part),
                    name=clean(name),
                    kept_at=self._time(),
                )
                if held is None
                else int(held["id"])
            )
            return _IMAGES.at(db, image)

    def known_image(self, sha256: str) -> FirmwareImage | None:
        """Return the kept image of that SHA-256 (hexadecimal), or None."""
        with self.reading("The firmware images") as db:
            found = _IMAGES.first(db, "WHERE images.sha256 = ?", (bytes.fromhex(sha256),))
        return found if found is None or found.sha256 == sha256.lower() else None

    def image_role(self, sha256: str) -> str:
        """Return the role in which an image was last written, or ""."""
        with self.reading("The record of firmware") as db:
            found = _WRITES.listed(
                db,
                "WHERE image.sha256 = ? AND writes.role <> '' ORDER BY writes.id DESC LIMIT 1",
                (bytes.fromhex(sha256),),
            )
        return found[0].role if found else ""

    def board_role(self, board_uuid: str) -> str:
        """Return the role of a board in its machine, or "" if unknown."""
        with self.reading("The board") as db:
            board = board_id(db, board_uuid)
            return str(checked_row(db, "boards", board)["role"])

    def set_board_role(self, board_uuid: str, role: Role) -> None:
        """Record the role of a board in its machine."""
        if role not in ROLES:
            raise ArchiveError(
                f'"{role}" is not a role of a board.', advice="Use computer or display."
            )
        with self.writing("The board's role") as db:
            update(db, "boards", board_id(db, board_uuid), role=role)

    def begin_write(
        self,
        board_uuid: str,
        image: FirmwareImage,
        *,
        previous: FirmwareImage | None,
        role: Role,
        part: str,
        backup_uuid: str | None = None,
        boot_section: bytes | None = None,
        eeprom: bytes | None = None,
    ) -> str:
        """Record that an image is about to be written, and return the UUID of the record."""
        with self.writing("The record of this write") as db:
            uuid = new_uuid()
            insert(
                db,
                "firmware_writes",
                uuid=uuid,
                board_id=board_id(db, board_uuid),
                firmware_image_id=_id(db, "firmware_images", image.uuid),
                previous_image_id=_id(db, "firmware_images", previous.uuid) if previous else None,
                backup_id=_id(db, "backups", backup_uuid) if backup_uuid else None,
                role=role,
                part=clean(part),
                boot_section=boot_section,
                eeprom=eeprom,
                began_at=self._time(),
            )
        return uuid

    def end_write(self, uuid: str, outcome: str, banner: str = "") -> None:
        """Record how a write ended. Raises ArchiveError if it has already ended."""
        with self.writing("The end of this write") as db:
            held = found_by(db, "firmware_writes", "uuid", uuid)
            if held is None or held["ended_at"] is not None:
                raise ArchiveError(f"The write {uuid} is not in progress.")
            end = {"ended_at": self._time(), "outcome": clean(outcome), "banner": clean(banner)}
            update(db, "firmware_writes", held["id"], **end)

    def writes(
        self, *, board_uuid: str | None = None, limit: int | None = None
    ) -> Listed[FirmwareWrite]:
        """Return the writes of firmware to all boards or to one, newest first."""
        with self.reading("The record of firmware") as db:
            board = None if board_uuid is None else board_id(db, board_uuid)
            return _WRITES.listed(
                db,
                "WHERE coalesce(writes.board_id = ?, 1) ORDER BY writes.id DESC LIMIT ?",
                (board, -1 if limit is None else limit),
            )

    def last_write(self, board_uuid: str) -> FirmwareWrite | None:
        """Return the newest write to a board, however it ended."""
        found = self.writes(board_uuid=board_uuid, limit=1)
        return found[0] if found else None


def _id(db: Database, table: str, uuid: str) -> int:
    held = found_by(db, table, "uuid", uuid)
    if held is None:
        raise not_in_archive(uuid)
    return int(held["id"])


def _image_of(row: Row) -> FirmwareImage:
    return FirmwareImage(
        uuid=row["uuid"],
        sha256=row["sha256"].hex(),
        flash=row["data"] if isinstance(row["data"], bytes) else b"",
        part=row["part"],
        name=row["name"],
        at=parse_utc(row["kept_at"]),
    )


def _write(parts: Parts, lost: list[str]) -> FirmwareWrite:
    row, board, backup = parts["writes"], parts["boards"], parts.get("backup", lost)
    archive, previous = parts.get("backup_archive", lost), parts.get("previous", lost)
    return FirmwareWrite(
        uuid=row["uuid"],
        board_uuid=board["uuid"],
        board=board["label"],
        image=_image_of(parts["image"]),
        previous=None if previous is None else _image_of(previous),
        backup=""
        if not (backup and archive)
        else numbered_spec("backup", backup["number"], archive),
        role=row["role"],
        part=row["part"],
        began_at=parse_utc(row["began_at"]),
        ended_at=parse_utc_or_none(row["ended_at"]),
        outcome=row["outcome"],
        banner=row["banner"],
    )


_IMAGES = Records(
    (Part("images", "firmware_images", hashed=True),),
    lambda parts, _: _image_of(parts["images"]),
    lambda shown: f"The firmware image {shown['images.name']}".strip(),
)
_WRITES = Records(
    (
        Part("writes", "firmware_writes"),
        Part("boards", "boards", "boards.id = writes.board_id"),
        Part("image", "firmware_images", "image.id = writes.firmware_image_id", hashed=True),
        Part("previous", "firmware_images", "previous.id = writes.previous_image_id", hashed=True),
        Part("backup", "backups", "backup.id = writes.backup_id"),
        Part("backup_archive", "archives", "backup_archive.id = backup.archive_id"),
    ),
    _write,
    lambda shown: f"The record of the write of {shown['writes.began_at']}",
)
