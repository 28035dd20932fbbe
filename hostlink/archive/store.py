"""The archive: everything ever kept, in one SQLite file."""

from __future__ import annotations

from hostlink.archive.programs import Programs
from hostlink.archive.rescues import Rescues
from hostlink.archive.revisions import Revisions


class Archive(Programs, Revisions, Rescues):
    """One open archive. `Archive.open` makes or opens it; use it as a context manager."""
