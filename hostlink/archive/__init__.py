"""Keep everything in SQLite, with its history.

The names below are imported when first used, so that a command which only lists programs need not
wait for firmware, merging and search.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hostlink.archive.backups import Backup, BackupItem
    from hostlink.archive.database.place import archive_path
    from hostlink.archive.firmware import ROLES, FirmwareImage, FirmwareWrite, Role
    from hostlink.archive.records import (
        ArchiveProof,
        Board,
        Content,
        Found,
        HostCopy,
        JobEvent,
        Kept,
        Origin,
        Program,
        Rescue,
        Revision,
    )
    from hostlink.archive.store import Archive

_PLACES = {
    "backups": ("Backup", "BackupItem"),
    "firmware": ("ROLES", "FirmwareImage", "FirmwareWrite", "Role"),
    "database.place": ("archive_path",),
    "records": (
        *(
            "Board",
            "Content",
            "JobEvent",
            "Found",
            "HostCopy",
            "Kept",
            "Origin",
            "Program",
            "ArchiveProof",
        ),
        *("Rescue", "Revision"),
    ),
    "store": ("Archive",),
}

__all__ = [
    "ROLES",
    "Archive",
    "ArchiveProof",
    "Backup",
    "BackupItem",
    "Board",
    "Content",
    "FirmwareImage",
    "FirmwareWrite",
    "Found",
    "HostCopy",
    "JobEvent",
    "Kept",
    "Origin",
    "Program",
    "Rescue",
    "Revision",
    "Role",
    "archive_path",
]


def __getattr__(name: str) -> object:
    for module, names in _PLACES.items():
        if name in names:
            value: object = getattr(import_module(f"{__name__}.{module}"), name)
            globals()[name] = value
            return value
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
