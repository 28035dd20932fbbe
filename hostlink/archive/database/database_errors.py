"""Translate SQLite's errors into ArchiveError, once, where they enter hostlink."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from hostlink.advice import Advice, Ways
from hostlink.errors import ArchiveError, ArchiveReason
from hostlink.sentences import LOOK_AT_DISK, TRY_WHEN_FINISHED, look_in_duplicate
from hostlink.words import safe

BUSY_SECONDS = 5.0
Fault = sqlite3.Error | UnicodeError | MemoryError
FAULTS = (sqlite3.Error, UnicodeError, MemoryError)
"""What a statement may raise: of a damaged file even SQLite's message may not be UTF-8, SQLite may
not accept the text that was read from it, and a damaged size asks for more memory than there is."""


def look_for_damage(by: Ways) -> str:
    """Advise to prove the archive and look in a duplicate, after damage was found."""
    return f"Prove the archive {by.prove}, and {look_in_duplicate(by)}."


_UNHARMED = "Everything that was in the archive is still there."


def not_kept(what: str, error: Fault, path: Path) -> ArchiveError:
    """Return the error for a failed write. what: its subject."""
    cause, unharmed, advice = _reason(error, f"the archive {path}")
    return ArchiveError(f"{what} was not kept: {cause}.", kept=unharmed, advice=advice)


def moved(what: str, path: Path) -> ArchiveError:
    """Return the error for a write to an archive that is no longer where it was opened."""
    return ArchiveError(
        f"{what} was not kept: the archive {path} was moved, replaced or deleted while open.",
        advice="Put the file back, or start hostlink again with the file's new path.",
    )


def not_read(what: str, error: Fault, path: Path) -> ArchiveError:
    """Return the error for a failed read. what: its subject."""
    cause, _, advice = _reason(error, f"the archive {path}")
    if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_ERROR:
        # hostlink's statements are valid, so the file is not as it should be.
        cause, advice = f"the archive {path} is damaged ({cause})", look_for_damage
    return ArchiveError(f"{what} could not be read: {cause}.", advice=advice)


class DamagedError(ArchiveError):
    """Something in the archive no longer matches its checksum."""


def damaged(what: str) -> DamagedError:
    """Return the error for something damaged. what: a phrase such as "T@1"."""
    return DamagedError(
        f"{safe(what)} is damaged in the archive.",
        kept="Nothing was changed.",
        advice=look_for_damage,
    )


def index_damaged(thing: str) -> DamagedError:
    """Return the error for an index that does not lead to a thing that exists."""
    return damaged(f"The index that leads to {thing}")


def not_in_archive(thing: str) -> ArchiveError:
    """Return the error for something of another archive, or that was never kept."""
    return ArchiveError(f"{safe(thing)} is not in this archive.", reason=ArchiveReason.NOT_THERE)


def is_damage(error: BaseException) -> bool:
    """Return whether an error says that the file is malformed."""
    if isinstance(error, UnicodeError | MemoryError):
        return True
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def not_opened(error: Fault, path: Path) -> ArchiveError:
    """Return the error for an archive that could not be opened, made or migrated."""
    cause, unharmed, advice = _reason(error, "it")
    if is_damage(error):

        def advice(by: Ways) -> str:
            return (
                "Copy the file elsewhere. If there is a duplicate or an export, import it into a "
                f"new archive {by.import_any}."
            )

    return ArchiveError(
        f"The archive {path} could not be opened: {cause}.", kept=unharmed, advice=advice
    )


def not_made(what: str, error: Fault) -> ArchiveError:
    """Return the error for a file that could not be made from the archive."""
    cause, _, advice = _reason(error, "it")
    return ArchiveError(f"{what} was not made: {cause}.", kept=_UNHARMED, advice=advice)


def heals(by: Ways) -> str:
    """Return the advice that an import can heal what is damaged."""
    which = "what is damaged here and whole there"
    return f"Importing a duplicate or an export {by.import_any} heals {which}."


def make_writable(by: Ways) -> str:
    """Return the advice for an archive that is read-only."""
    return f"Make the file and its folder writable, or name another file {by.name_archive}."


def _code(error: Fault) -> tuple[int | None, str]:
    """Return SQLite's primary error code, None for another error, and the message."""
    if isinstance(error, UnicodeError):
        return sqlite3.SQLITE_CORRUPT, "text that is not UTF-8"
    if isinstance(error, MemoryError):
        return sqlite3.SQLITE_CORRUPT, "a size beyond the computer's memory"
    code: int | None = getattr(error, "sqlite_errorcode", None)
    return None if code is None else code & 0xFF, safe(str(error))


def _reason(error: Fault, name: str) -> tuple[str, str, Advice]:
    """Return cause, what is unharmed, and advice for an SQLite error. name: of the archive."""
    code, said = _code(error)
    match code:
        case sqlite3.SQLITE_FULL:
            return "the disk is full", _UNHARMED, "Free some space and try again."
        case sqlite3.SQLITE_READONLY:
            return f"{name} is read-only", _UNHARMED, make_writable
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return (
                f"another program has been writing to {name} for more than "
                f"{BUSY_SECONDS:.0f} seconds",
                _UNHARMED,
                TRY_WHEN_FINISHED,
            )
        case sqlite3.SQLITE_IOERR:
            return (
                f"the disk could not be read or written ({said})",
                _UNHARMED,
                LOOK_AT_DISK,
            )
        case sqlite3.SQLITE_CANTOPEN:
            return (
                f"the system does not let {name} be opened",
                "",
                "Check that its folder is there and that you may write to it.",
            )
        case sqlite3.SQLITE_CORRUPT | sqlite3.SQLITE_NOTADB:
            return (
                f"{name} is damaged ({said})",
                "Nothing was written to it.",
                lambda by: f"Copy the file elsewhere first, then prove it {by.prove}.",
            )
        case sqlite3.SQLITE_CONSTRAINT:  # hostlink's rows are valid, so something there is not
            return f"{name} is damaged ({said})", _UNHARMED, look_for_damage
    return said, _UNHARMED, ""
