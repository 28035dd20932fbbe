"""Proving the archive: every hash, every reference, the numbering, the rules, the search index."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator

from sqlite_utils import Database

from hostlink.archive.carried import TABLES
from hostlink.archive.healing import is_sound, owners
from hostlink.archive.listings import content_of, hex_of, lines_in
from hostlink.archive.opening import APPLICATION_ID
from hostlink.archive.rebuilding import DERIVED, WORD_INDEXES, due_objects, objects_in
from hostlink.archive.records import ANEW, Proof
from hostlink.archive.session import Session
from hostlink.archive.trouble import FAULTS, printable
from hostlink.errors import ArchiveError

_COUNTED = (
    "programs",
    "revisions",
    "rescues",
    "listings",
    "notes",
    "tags",
    "boards",
    "backups",
    "firmware_images",
    "events",
)
_MOST_OF_ONE_KIND = 100
_TIME = "????-??-??T??:??:??.???Z"
# What SQLite says of an index of words that is damaged, of another version, or not whole.
_INDEX_FAULTS = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_ERROR)


class Proofs(Session):
    """Checking all that is kept."""

    def prove(self) -> Proof:
        """Check everything that can be checked; nothing is changed.

        Recomputes every SHA-256 of listings and firmware images, follows every reference, checks
        the file's structure, every time, the numbering of revisions, the rules and triggers
        against those of a new archive, and both word indexes against what they index. What comes
        from something else, and `rebuild` makes anew, is said to be so.
        Raises ArchiveError only where the file cannot be read at all.
        """
        findings: list[str] = []
        skipped: list[str] = []
        counts: dict[str, int] = {}
        with self.reading("The archive") as db:
            db.execute("BEGIN")  # one unchanging view, whatever others write meanwhile
            try:
                for check in (
                    _structure,
                    _references,
                    _schema,
                    _listings,
                    _firmware,
                    _times,
                    _numbers,
                    _program_words,
                ):
                    findings += _some(check(db))
                counts = {table: _count(db, table) for table in _COUNTED}
            finally:
                db.rollback()
        if self.read_only:
            skipped.append("The search index was not checked: that needs a writable archive.")
        else:
            findings += _some(self._indexes())
        return Proof(tuple(findings), counts, tuple(skipped))

    def _indexes(self) -> Iterator[str]:
        """Let the index compare itself with what it indexes (FTS5 documentation, 6.4)."""
        for index in ("listing_words", "program_words"):
            try:
                with self.writing("The check of the search index") as db:
                    db.execute(f"INSERT INTO {index} ({index}, rank) VALUES ('integrity-check', 1)")
            except ArchiveError as error:
                cause = error.__cause__
                if not isinstance(cause, sqlite3.Error) or (
                    cause.sqlite_errorcode & 0xFF not in _INDEX_FAULTS
                ):
                    raise
                yield f"The search index {index} does not fit what is kept{ANEW}."


def _count(db: Database, table: str) -> int:
    """How many rows a table has; 0 where it is not there or cannot be read, which others tell."""
    try:
        return int(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
    except FAULTS:
        return 0


def _some(findings: Iterator[str]) -> Iterator[str]:
    """The first findings of one kind, and how many more there are, even when reading breaks off."""
    count = 0
    try:
        for finding in findings:
            count += 1
            if count <= _MOST_OF_ONE_KIND:
                yield finding
    except FAULTS as error:
        yield f"The file is damaged: {printable(str(error))}."
    if count > _MOST_OF_ONE_KIND:
        yield f"There are {count - _MOST_OF_ONE_KIND} more of this kind."


def _structure(db: Database) -> Iterator[str]:
    for row in db.execute("PRAGMA integrity_check"):
        if row[0] != "ok":
            of_index = re.search(r"(missing from|entries in) index", row[0])
            yield f"The file's structure: {row[0]}{ANEW if of_index else ''}."


def _references(db: Database) -> Iterator[str]:
    for row in db.execute("PRAGMA foreign_key_check"):
        yield f"Row {row[1]} of {row[0]} refers to a row of {row[2]} that is not there."


def _schema(db: Database) -> Iterator[str]:
    """Tables, triggers, indexes and views as a new archive would have them."""
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        yield "The file is not marked as an archive of hostlink."
    due, there = due_objects(), objects_in(db)
    for name, (kind, sql) in due.items():
        anew = ANEW if kind in DERIVED or name.startswith(WORD_INDEXES) else ""
        if name not in there:
            yield f"The {kind} {name} is missing{anew}."
        elif there[name][1] != sql:
            yield f"The {kind} {name} has been changed{anew}."
    for name in sorted(there.keys() - due.keys()):
        yield f"The {there[name][0]} {name} does not belong to an archive."


def _listings(db: Database) -> Iterator[str]:
    """Every listing's bytes, canonical text and line count against what was recorded."""
    for row in db.execute("SELECT *, NULL AS size_bytes FROM listings ORDER BY id"):
        which = f"Listing {row['id']}{_owners(db, row['id'])}"
        try:
            content = content_of(dict(row), which)
        except ArchiveError:
            yield f"{which}: its exact bytes cannot be restored."
            continue
        if content.sha256 != hex_of(row["sha256"]):
            yield f"{which}: its exact bytes have another SHA-256 than when it was kept."
        if content.canonical_sha256 != hex_of(row["canonical_sha256"]):
            yield f"{which}: its canonical text has another SHA-256 than when it was kept."
        if lines_in(content.text) != row["line_count"]:
            yield f"{which}: it has another number of lines than when it was kept."
    for row in db.execute(
        "SELECT min(id) AS first, max(id) AS last FROM listings "
        "GROUP BY sha256, canonical_sha256, profile, charset, text HAVING first <> last"
    ):
        yield f"Listing {row['first']} is stored a second time as {row['last']}."


def _owners(db: Database, listing: int) -> str:
    """The first of what has a listing, in brackets, so that a finding can be understood."""
    found = owners(db, listing)
    return f" ({found[0]})" if found else ""


def _firmware(db: Database) -> Iterator[str]:
    for row in db.execute("SELECT id, sha256, data FROM firmware_images ORDER BY id"):
        if not is_sound(row["data"], row["sha256"]):
            yield f"Firmware image {row['id']}: it has another SHA-256 than when it was kept."


def _times(db: Database) -> Iterator[str]:
    """Every time, by the form in which it is stored."""
    for table in TABLES:
        names = [row[1] for row in db.execute(f"PRAGMA table_info({table.name})")]
        for column in (name for name in names if name.endswith(("_at", "_seen"))):
            for row in db.execute(
                f"SELECT id FROM {table.name} WHERE {column} IS NOT NULL "
                f"AND (julianday({column}) IS NULL OR {column} NOT GLOB ?)",
                (_TIME,),
            ):
                yield f"{column} of row {row[0]} of {table.name} is no time."


def _numbers(db: Database) -> Iterator[str]:
    """Revisions and rescues that were numbered here, without a gap."""
    for row in db.execute(
        "SELECT programs.name, count(*) AS held, max(number) AS last FROM revisions "
        "JOIN programs ON programs.id = program_id WHERE archive_id = 1 "
        "AND NOT EXISTS (SELECT 1 FROM revisions AS other WHERE other.archive_id <> 1 "
        "AND other.program_id = revisions.program_id) "
        "GROUP BY program_id HAVING held <> last"
    ):
        held = f"{row['held']} revision{'' if row['held'] == 1 else 's'}"
        yield f"{row['name']} has {held}, but the last is number {row['last']}."
    for row in db.execute(
        "SELECT name FROM programs WHERE id NOT IN (SELECT program_id FROM revisions)"
    ):
        yield f"{row['name']} has no revision."


def _program_words(db: Database) -> Iterator[str]:
    """The text that program_words holds against what it should hold."""
    for row in db.execute(
        "SELECT id, name, title, notes, tags FROM program_words_due EXCEPT "
        "SELECT rowid, name, title, notes, tags FROM program_words"
    ):
        yield f"The search index does not know all words of {row['name']}{ANEW}."
