"""What SQLite itself says of a file: its structure, and whether its indexes fit its tables."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from sqlite_utils import Database

from hostlink.archive.trouble import printable

_OF_INDEX = re.compile(r"(missing from|entries in|non-unique entry in) index")
_OF_VALUE = re.compile(r"value in \w+\.\w+$|^CHECK constraint failed in ")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong. is_of_index: an index does not fit its table.

    is_of_structure: it is more than a wrong value in a row, which the row's checksum tells too.
    """

    said: str

    @property
    def is_of_index(self) -> bool:
        return bool(_OF_INDEX.search(self.said))

    @property
    def is_of_structure(self) -> bool:
        return not _OF_VALUE.search(self.said)


def faults_of(db: Database) -> Iterator[Fault]:
    """Everything that SQLite's own check finds (PRAGMA integrity_check), a hundred at most."""
    for row in db.execute("PRAGMA integrity_check"):
        if row[0] != "ok":
            yield Fault(printable(str(row[0])))
