"""Prove the archive: every row, hash and reference, the rules, the search index.

Rows are read as every command reads them, so that the proof finds all that a command would.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from sqlite_utils import Database

from hostlink.archive.archive_file import ArchiveFile
from hostlink.archive.database.checksums import is_sound
from hostlink.archive.database.database_errors import FAULTS, DamagedError, is_damage
from hostlink.archive.database.opening import APPLICATION_ID
from hostlink.archive.database.rows import damaged_rows
from hostlink.archive.database.structure import faults_of
from hostlink.archive.database.tables import TABLES
from hostlink.archive.listings import lines_in, proven_content
from hostlink.archive.lookup import IN_ORDER
from hostlink.archive.naming import name_of, owners
from hostlink.archive.rebuilding import DERIVED, WORD_INDEXES, due_objects, objects_in
from hostlink.archive.records import ANEW, ArchiveProof
from hostlink.errors import ArchiveError
from hostlink.words import safe

_COUNTED = (
    "programs",
    "revisions",
    "rescues",
    "listings",
    "notes",
    "tags",
    "boards",
    "backups",
    "runs",
    "firmware_images",
    "events",
)
_MOST_OF_ONE_KIND = 100
# SQLite's messages, besides that of damage, for a word index that is incomplete, of another
# version, or takes no new words.
_INDEX_FAULTS = (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CONSTRAINT)
_BEYOND = 1 << 60  # a row id that no row has


class Proofs(ArchiveFile):
    """The archive's method that proves it."""

    def prove(self) -> ArchiveProof:
        """Check everything that can be checked; nothing is changed.

        This recomputes the checksum of every row and the SHA-256 of every listing and firmware
        image, follows every reference, and checks the structure of the file, the numbering of
        revisions, the rules and triggers against those of a new archive, and the word indexes
        against their content. A finding says if `rebuild` can mend it. Raises ArchiveError only if
        the file cannot be read at all.
        """
        skipped: list[str] = []
        with self.reading("The archive") as db:
            db.execute("BEGIN")  # an unchanging view while others write
            try:
                findings = [finding for check in _CHECKS for finding in _some(check(db))]
                counts = {table: _count(db, table) for table in _COUNTED}
            finally:
                db.rollback()
        if self.read_only:
            skipped.append("The search index was not checked: that needs a writable archive.")
        else:
            findings += _some(self._indexes())
        return ArchiveProof(tuple(findings), counts, tuple(skipped))

    def _indexes(self) -> Iterator[str]:
        """Let each word index compare itself with its content (FTS5 documentation, 6.4).

        An index that agrees may still refuse new words, so one is written and taken back.
        """
        what = "The check of the search index"
        for index in WORD_INDEXES:
            try:
                with self.undoing(what), self.writing(what) as db:
                    db.execute(f"INSERT INTO {index} ({index}, rank) VALUES ('integrity-check', 1)")
                    column = db[index].columns[0].name
                    db.execute(f"INSERT INTO {index} (rowid, {column}) VALUES ({_BEYOND}, 'a')")
                    db.execute("SAVEPOINT written")  # only here does FTS5 write it
            except ArchiveError as error:
                cause = error.__cause__
                code = getattr(cause, "sqlite_errorcode", 0) & 0xFF
                if cause is None or not (is_damage(cause) or code in _INDEX_FAULTS):
                    raise
                yield f"The search index {index} does not match what is kept{ANEW}."


def of_file(db: Database) -> Iterator[str]:
    """Yield the faults of the file itself, which a copy of its rows would not have."""
    yield from _some(_structure(db))
    yield from _some(_schema(db))


def _count(db: Database, table: str) -> int:
    """Return the number of rows of a table, 0 if it cannot be read (reported elsewhere)."""
    try:
        return int(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
    except FAULTS:
        return 0


def _some(findings: Iterator[str]) -> Iterator[str]:
    """Yield the first findings of one kind and the number of others, even if reading breaks off."""
    count = 0
    try:
        for finding in findings:
            count += 1
            if count <= _MOST_OF_ONE_KIND:
                yield finding
    except FAULTS as error:
        yield f"The file is damaged: {safe(str(error))}."
    if count > _MOST_OF_ONE_KIND:
        yield f"There are {count - _MOST_OF_ONE_KIND} more of this kind."


def _structure(db: Database) -> Iterator[str]:
    for fault in faults_of(db):
        yield f"The file's structure: {fault.said}{ANEW if fault.is_of_index else ''}."


def _references(db: Database) -> Iterator[str]:
    for row in db.execute("PRAGMA foreign_key_check"):
        yield f"Row {row[1]} of {row[0]} refers to a row of {row[2]} that is not there."


def _schema(db: Database) -> Iterator[str]:
    """Find tables, triggers, indexes and views that differ from those of a new archive."""
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        yield "The file is not marked as an archive of hostlink."
    due, there = due_objects(), objects_in(db)
    for name, one in due.items():
        anew = ANEW if one.kind in DERIVED or name.startswith(WORD_INDEXES) else ""
        if name not in there:
            yield f"The {one.kind} {name} is missing{anew}."
        elif there[name] != one:
            yield f"The {one.kind} {name} has been changed{anew}."
    for name in sorted(there.keys() - due.keys()):
        kind = there[name].kind
        anew = ANEW if kind in ("trigger", "view") else ""
        yield f"The {safe(kind)} {safe(name)} does not belong to an archive{anew}."


def _rows(db: Database) -> Iterator[str]:
    """Find rows that do not match their checksum."""
    for table in TABLES:
        for row_id in damaged_rows(db, table):
            what = name_of(db, table, row_id)
            yield f"{what[0].upper()}{what[1:]} does not match its checksum."


def _listings(db: Database) -> Iterator[str]:
    """Find listings whose bytes, canonical text or line count differ from what was recorded."""
    for row in db.execute(f"SELECT {TABLES['listings'].names} FROM listings ORDER BY id"):
        of = owners(db, row["id"])[:1]
        which = f"Listing {row['id']}{f' ({of[0]})' if of else ''}"
        try:
            content = proven_content(dict(row), which)
        except DamagedError:
            yield f"{which}: its bytes do not match the SHA-256 that was kept."
            continue
        if lines_in(content.text) != row["line_count"]:
            yield f"{which}: its number of lines differs from what was kept."
    for row in db.execute(
        "SELECT min(id) AS first, max(id) AS last FROM listings "
        "GROUP BY sha256, canonical_sha256, profile, charset, text HAVING first <> last"
    ):
        yield f"Listing {row['first']} is stored a second time as {row['last']}."


def _firmware(db: Database) -> Iterator[str]:
    for row in db.execute("SELECT id, sha256, data FROM firmware_images ORDER BY id"):
        if not is_sound(row["data"], row["sha256"]):
            yield f"Firmware image {row['id']}: its bytes do not match the SHA-256 that was kept."


def _numbers(db: Database) -> Iterator[str]:
    """Find gaps in revision numbers, and programs whose count of revisions is wrong."""
    for row in db.execute(
        "SELECT programs.name, count(*) AS held, max(number) AS last FROM revisions "
        "JOIN programs ON programs.id = program_id WHERE archive_id = 1 "
        "AND NOT EXISTS (SELECT 1 FROM revisions AS other WHERE other.archive_id <> 1 "
        "AND other.program_id = revisions.program_id) "
        "GROUP BY program_id HAVING held <> last"
    ):
        held = f"{row['held']} revision{'' if row['held'] == 1 else 's'}"
        yield f"{safe(str(row['name']))} has {held}, but the last is number {row['last']}."
    for row in db.execute(
        "SELECT name, revision_count, latest_id, held, latest FROM (SELECT program_id, "
        "count(*) AS held, max(place), id AS latest FROM (SELECT id, program_id, "
        f"{IN_ORDER} AS place FROM revisions NOT INDEXED) GROUP BY program_id) "
        "JOIN programs ON programs.id = program_id "
        "WHERE revision_count <> held OR latest_id IS NOT latest"
    ):
        name = safe(str(row["name"]))
        yield f"The latest revision or the revision count of {name} is recorded wrongly{ANEW}."
    for row in db.execute(
        "SELECT name FROM programs WHERE id NOT IN (SELECT program_id FROM revisions)"
    ):
        yield f"{safe(str(row['name']))} has no revision."


def _program_words(db: Database) -> Iterator[str]:
    """Find programs whose text differs from their entry in the word index program_words."""
    for row in db.execute(
        "SELECT id, name, title, notes, tags FROM program_words_due EXCEPT "
        "SELECT rowid, name, title, notes, tags FROM program_words"
    ):
        name = safe(str(row["name"]))
        yield f"The search index does not have all words of {name}{ANEW}."


_CHECKS = (
    _structure,
    _references,
    _schema,
    _rows,
    _listings,
    _firmware,
    _numbers,
    _program_words,
)
