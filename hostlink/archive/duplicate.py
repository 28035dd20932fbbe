"""A second, complete archive file, made while the first is in use."""

from __future__ import annotations

import contextlib
import os
import secrets
import sqlite3
from pathlib import Path

from hostlink.archive.flushing import flush_file, flush_folder
from hostlink.archive.opening import APPLICATION_ID
from hostlink.archive.session import Session
from hostlink.archive.trouble import FAULTS, not_made
from hostlink.errors import ArchiveError


class Duplicates(Session):
    """Duplicating the archive."""

    def duplicate(self, target: Path) -> None:
        """Write a whole, checked copy of the archive to a new file.

        A plain file copy of an archive in use can lose the latest revisions; this cannot. The
        copy appears under its name only when it is complete, checked and on the disk. An existing
        file is never overwritten. Raises ArchiveError: then there is no new file.
        """
        target = Path(target).absolute()
        part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
        try:
            if target.exists():
                raise _taken(target)
            with self.reading(f"The duplicate {target}") as db:
                try:
                    db.execute("VACUUM INTO ?", (str(part),))
                except FAULTS as error:
                    raise not_made(f"The duplicate {target}", error) from error
            _check(part)
            flush_file(part)
            _name(part, target)
            flush_folder(target.parent)
        except (OSError, UnicodeEncodeError) as error:  # SQLite wants names in UTF-8
            why = "its name is no UTF-8" if isinstance(error, ValueError) else error.strerror
            raise ArchiveError(
                f"The duplicate {target} was not made: {why or error}.",
                kept="The archive itself is as it was.",
                advice="Name a file in a folder that is there and may be written.",
            ) from error
        finally:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)


def _taken(target: Path) -> ArchiveError:
    return ArchiveError(
        f"{target} is there already.",
        kept="It was not touched.",
        advice="Name a new file for the duplicate.",
    )


def _check(part: Path) -> None:
    """Refuse a copy that SQLite finds fault with, or that does not say what it is."""
    conn = sqlite3.connect(f"{part.as_uri()}?mode=ro", uri=True)
    try:
        fault = conn.execute("PRAGMA integrity_check(1)").fetchone()[0]
        marked = conn.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    except FAULTS as error:
        fault, marked = str(error), True
    finally:
        conn.close()
    if fault != "ok" or not marked:
        raise ArchiveError(
            f"The duplicate was not made: its check failed ({fault}).",
            kept="The archive itself is as it was.",
            advice="Run `hostlink archive prove`, and look at the disk.",
        )


def _name(part: Path, target: Path) -> None:
    """Give the copy its name unless that has been taken meanwhile."""
    try:
        os.link(part, target)
        return
    except FileExistsError:
        raise _taken(target) from None
    except (OSError, NotImplementedError):
        pass  # a file system without hard links, as on many memory sticks
    try:
        with target.open("xb"):
            pass
    except FileExistsError:
        raise _taken(target) from None
    part.replace(target)
