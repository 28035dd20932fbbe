"""Make a second, complete archive file while the first is in use."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from pathlib import Path

from hostlink.archive.database.access import writing_elsewhere
from hostlink.archive.database.database_errors import FAULTS, not_made
from hostlink.archive.database.flushing import flush_file, flush_folder
from hostlink.archive.proof import Proofs, of_file
from hostlink.errors import ArchiveError, system_words
from hostlink.sentences import ARCHIVE_UNCHANGED, FILE_UNTOUCHED, LOOK_AT_DISK


class Duplicates(Proofs):
    """The archive's method for duplicates."""

    def duplicate(self, target: Path) -> tuple[str, ...]:
        """Write a copy of the archive to a new file and prove it.

        A plain file copy of an archive in use can lose the latest revisions; this cannot. The copy
        appears under its name only when it is complete, proven and on the disk, and never replaces
        a file. Returns sentences on what is damaged: a copy of a damaged archive lacks what could
        not be read. Raises ArchiveError, and makes no file then.
        """
        target = Path(target).absolute()
        part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
        try:
            if target.exists():
                raise _taken(target)
            with self.reading(f"The duplicate {target}") as db:
                findings = list(of_file(db))
                try:
                    with writing_elsewhere(db):
                        db.execute("VACUUM INTO ?", (str(part),))
                except UnicodeEncodeError:
                    raise OSError(errno.EILSEQ, "its name is not UTF-8") from None
                except FAULTS as error:
                    raise not_made(f"The duplicate {target}", error) from error
            findings += self._proven(part)
            flush_file(part)
            _name(part, target)
            flush_folder(target.parent)
        except OSError as error:
            raise ArchiveError(
                f"The duplicate {target} was not made: {system_words(error)}.",
                kept=ARCHIVE_UNCHANGED,
                advice="Name a file in a folder that exists and can be written to.",
            ) from error
        finally:
            for ending in ("", "-wal", "-shm"):
                with contextlib.suppress(OSError):
                    part.with_name(part.name + ending).unlink(missing_ok=True)
        return tuple(dict.fromkeys(findings))

    def _proven(self, part: Path) -> tuple[str, ...]:
        """Return what is damaged in both files. Raises ArchiveError for damage to the copy only."""
        try:
            with type(self).open(part, create=False) as copy:
                findings = copy.prove().findings
        except ArchiveError as error:
            findings = (error.what,)
        if findings and self.prove().clean:
            raise ArchiveError(
                f"The duplicate was not made: its check failed ({findings[0]}).",
                kept=ARCHIVE_UNCHANGED,
                advice=LOOK_AT_DISK,
            )
        return findings


def _taken(target: Path) -> ArchiveError:
    return ArchiveError(
        f"{target} already exists.",
        kept=FILE_UNTOUCHED,
        advice="Name a new file for the duplicate.",
    )


def _name(part: Path, target: Path) -> None:
    """Give the copy its name unless another file has taken it meanwhile."""
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
