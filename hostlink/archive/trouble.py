"""SQLite's errors said as ours, once, at the boundary."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from hostlink.errors import ArchiveError

BUSY_SECONDS = 5.0

_UNHARMED = "Everything that was in the archive is still there."


def not_kept(what: str, error: sqlite3.Error, path: Path) -> ArchiveError:
    """The error for a write that came to nothing. what: the thing that was not kept."""
    cause, unharmed, advice = _reason(error, f"the archive {path}")
    return ArchiveError(f"{what} was not kept: {cause}.", kept=unharmed, advice=advice)


def not_read(what: str, error: sqlite3.Error, path: Path) -> ArchiveError:
    """The error for a read that failed. what: the thing that could not be read."""
    cause, _, advice = _reason(error, f"the archive {path}")
    return ArchiveError(f"{what} could not be read: {cause}.", advice=advice)


def not_opened(error: sqlite3.Error, path: Path) -> ArchiveError:
    """The error for an archive that could not be opened, made, or brought up to date."""
    cause, unharmed, advice = _reason(error, "it")
    return ArchiveError(
        f"The archive {path} could not be opened: {cause}.", kept=unharmed, advice=advice
    )


def not_made(what: str, error: sqlite3.Error) -> ArchiveError:
    """The error for another file that could not be made from the archive."""
    cause, _, advice = _reason(error, "it")
    return ArchiveError(f"{what} was not made: {cause}.", kept=_UNHARMED, advice=advice)


def _reason(error: sqlite3.Error, name: str) -> tuple[str, str, str]:
    """Cause, what is unharmed, and advice for one SQLite error; name stands for the archive."""
    code = getattr(error, "sqlite_errorcode", None)
    match None if code is None else code & 0xFF:
        case sqlite3.SQLITE_FULL:
            return "the disk is full", _UNHARMED, "Free some space and try again."
        case sqlite3.SQLITE_READONLY:
            return (
                f"{name} is read-only",
                _UNHARMED,
                "Make the file and its folder writable, or name another with --archive.",
            )
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return (
                f"another program has been writing to {name} for more than "
                f"{BUSY_SECONDS:.0f} seconds",
                _UNHARMED,
                "Try again when it has finished.",
            )
        case sqlite3.SQLITE_IOERR:
            return (
                f"the disk could not be read or written ({error})",
                _UNHARMED,
                "Look at the disk and its free space, then try again.",
            )
        case sqlite3.SQLITE_CANTOPEN:
            return (
                f"the system does not let {name} be opened",
                "",
                "Check that its folder is there and that you may write to it.",
            )
        case sqlite3.SQLITE_CORRUPT | sqlite3.SQLITE_NOTADB:
            return (
                f"{name} is damaged ({error})",
                "Nothing was written to it.",
                "Copy the file away first, then run `hostlink archive prove`.",
            )
    return f"{error}", _UNHARMED, ""
