"""SQLite: everything kept, with its history."""

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
    "Archive",
    "Board",
    "Content",
    "Event",
    "Found",
    "HostCopy",
    "Kept",
    "Origin",
    "Program",
    "Proof",
    "Rescue",
    "Revision",
    "archive_path",
]
