"""The archive: everything kept, in one SQLite file."""

from __future__ import annotations

from hostlink.archive.backups import Backups
from hostlink.archive.boards import Boards
from hostlink.archive.database.rows import checked_row
from hostlink.archive.duplicate import Duplicates
from hostlink.archive.events import Events
from hostlink.archive.exchange.merging import Merging
from hostlink.archive.firmware import Firmware
from hostlink.archive.lookup import HERE
from hostlink.archive.programs import Programs
from hostlink.archive.rebuilding import Rebuilding
from hostlink.archive.rescues import Rescues
from hostlink.archive.revisions import Revisions
from hostlink.archive.runs import Runs
from hostlink.archive.search.search import Search


class Archive(
    Programs,
    Revisions,
    Rescues,
    Boards,
    Events,
    Runs,
    Search,
    Backups,
    Firmware,
    Rebuilding,
    Duplicates,
    Merging,
):
    """One open archive; `Archive.open` makes or opens it. It is a context manager.

    Each part is in the module of its name. All share the file, its connections and its
    transactions.
    """

    @property
    def uuid(self) -> str:
        """Return the identity of this archive, the same in every duplicate of it."""
        with self.reading("The archive's identity") as db:
            return str(checked_row(db, "archives", HERE)["uuid"])
