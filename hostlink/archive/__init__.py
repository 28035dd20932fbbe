"""SQLite: everything kept, with its history."""

from hostlink.archive.backups import Backup, BackupItem
from hostlink.archive.firmware import ROLES, FirmwareImage, FirmwareWrite, Role
from hostlink.archive.place import archive_path
from hostlink.archive.records import (
    Board,
    Content,
    Event,
    Found,
    HostCopy,
    Kept,
    Origin,
    Program,
    Proof,
    Rescue,
    Revision,
)
from hostlink.archive.store import Archive

__all__ = [
    "ROLES",
    "Archive",
    "Backup",
    "BackupItem",
    "Board",
    "Content",
    "Event",
    "FirmwareImage",
    "FirmwareWrite",
    "Found",
    "HostCopy",
    "Kept",
    "Origin",
    "Program",
    "Proof",
    "Rescue",
    "Revision",
    "Role",
    "archive_path",
]
