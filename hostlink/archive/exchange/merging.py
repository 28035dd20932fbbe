"""Merge the records of another archive into this one, completely or not at all.

Rules:
1. Records are identified by UUID. A record that is here already stays as it is, so a second merge
   changes nothing. If its content differs, the whole import is refused, because one of the two is
   false. A reference that is missing here, such as a board, is filled in.
2. A damaged row here is replaced by the same row from the other archive.
3. Two programs are the same only if their UUIDs are equal, which are made of the first name and
   listing of each. An imported one whose name is in use is shown as NAME-12345, with the start of
   its UUID.
4. Revisions keep the number that their archive of origin gave them: NAME@3/12345678 is revision 3
   of archive 12345678. Copies of one archive may have given the same numbers; see copies.py.
5. Two boards are the same if their serial numbers are equal. A board without one is identified by
   its UUID only, because its port means nothing on another computer.
6. The result does not depend on which archive imports which: tags are combined, a program stays
   retired unless either archive used it later, and an event that ended in one has ended.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from hostlink.archive.boards import LONGEST_LABEL
from hostlink.archive.database.checksums import is_sound, is_whole
from hostlink.archive.database.database_errors import FAULTS, not_read
from hostlink.archive.database.rows import Row, checked_row, first, insert, replace, rows, update
from hostlink.archive.database.structure import faults_of
from hostlink.archive.database.tables import CARRIED, TABLES, Table
from hostlink.archive.exchange.arriving import check_record, refused
from hostlink.archive.exchange.copies import Copies
from hostlink.archive.exchange.merged import Merged, ProgramMerged
from hostlink.archive.exchange.record_source import ArchiveRecords, Record, RecordSource
from hostlink.archive.healing import Healing
from hostlink.archive.listings import check_content, put_listing
from hostlink.archive.lookup import count_revisions, program_id
from hostlink.archive.names import LONGEST_NAME
from hostlink.archive.naming import name_of
from hostlink.archive.programs import put_tag
from hostlink.archive.records import LEARNER
from hostlink.archive.retiring import settle_retirement
from hostlink.errors import ArchiveError
from hostlink.sentences import ARCHIVE_UNCHANGED
from hostlink.words import fold, natural

_EARLIER_FIRST = "If it is one of several exports, import the earlier ones first."


class Merging(Healing):
    """The archive's methods for exporting and importing records."""

    @contextmanager
    def records(
        self, *, programs: tuple[str, ...] = (), since: str = "", learners: bool = True
    ) -> Iterator[ArchiveRecords]:
        """Open the records to export, as one unchanging view of the archive.

        programs: export only these, by name. since: export only what is newer than this stored
        time. learners: also export the programs of learners that are not named. Damaged records are
        left out and named. Raises ArchiveError for an unknown program.
        """
        what = "What is to be exported"
        try:
            db = dataclasses.replace(self._access, read_only=True).connect()
        except FAULTS as error:
            raise not_read(what, error, self.path) from error
        try:
            db.execute("BEGIN")  # an unchanging view while others write
            chosen = [program_id(db, name) for name in programs] if programs else None
            tagged = db.execute("SELECT program_id FROM tags WHERE tag_key = ?", (LEARNER,))
            private = None if learners else {row[0] for row in tagged}.difference(chosen or ())
            yield ArchiveRecords(db, programs=chosen, private=private, since=since)
        except FAULTS as error:
            raise not_read(what, error, self.path) from error
        finally:
            db.close()

    def merge(self, records: RecordSource) -> Merged:
        """Import records. Raises ArchiveError with the reason; nothing is imported then."""
        with self.writing("What was to be imported") as db:
            if broken := [each for each in faults_of(db) if each.is_of_structure]:
                raise ArchiveError(
                    f"The archive {self.path} is damaged, so nothing is taken in "
                    f"({broken[0].said}).",
                    kept=ARCHIVE_UNCHANGED,
                    advice=lambda by: (
                        f"Rebuild it first {by.rebuild}; if that does not mend it, import "
                        "both into a new archive."
                    ),
                )
            return _Merge(db, records, self).run()

    def merge_file(self, path: Path) -> Merged:
        """Import another archive's file. Raises ArchiveError."""
        with (
            type(self).open(path, create=False, read_only=True) as other,
            other.records() as records,
        ):
            return self.merge(records)


@dataclass
class _Merge:
    """One merge, inside one transaction. archive: the archive that imports."""

    db: Database
    records: RecordSource
    archive: Healing
    listings: dict[int, int] = field(default_factory=dict)  # number in the source to row id
    stands_for: dict[tuple[str, str], int] = field(default_factory=dict)  # its UUID is another here
    added: dict[str, int] = field(default_factory=lambda: {each.name: 0 for each in CARRIED})
    renamed: dict[str, str] = field(default_factory=dict)
    healed: list[str] = field(default_factory=list)
    programs: dict[int, ProgramMerged] = field(default_factory=dict)  # by row id
    retired: dict[int, str] = field(default_factory=dict)  # program id to time of retirement
    in_use: set[int] = field(default_factory=set)  # programs that were not retired here

    def __post_init__(self) -> None:
        self.copies = Copies(self.db)

    def run(self) -> Merged:
        for table in CARRIED:
            for record in self.records.of(table.name):
                self._take(table, check_record(table, record))
        for program in self.programs:
            count_revisions(self.db, program)
        self._refuse_empty_programs()
        for program, at in self.retired.items():
            settle_retirement(self.db, program, at)
        left_out = tuple(self.records.left_out)
        copies = tuple(mark[:8] for mark in self.copies.marks)
        healed, retired = tuple(self.healed), tuple(self._retired_now())
        programs = tuple(sorted(self.programs.values(), key=lambda each: natural(each.name)))
        return Merged(self.added, self.renamed, healed, left_out, copies, retired, programs)

    def _retired_now(self) -> list[str]:
        """Return the names of the programs that this merge retired, in order."""
        ids = json.dumps(sorted(self.in_use & self.retired.keys()))
        sql = "WHERE id IN (SELECT value FROM json_each(?)) AND retired_at IS NOT NULL"
        found = rows(self.db, f"SELECT name FROM programs {sql}", (ids,))
        return sorted((str(program["name"]) for program in found), key=natural)

    def _refuse_empty_programs(self) -> None:
        """Raise ArchiveError for programs without revisions, as a partial export may hold."""
        empty = first(
            self.db,
            "SELECT name FROM programs WHERE id IN (SELECT value FROM json_each(?)) "
            "AND revision_count = 0",
            (json.dumps(list(self.programs)),),
        )
        if empty is not None:
            raise refused(f"it has {empty['name']} without its revisions", _EARLIER_FIRST)

    def _take(self, table: Table, record: Record) -> None:
        values = self._values(table, record)
        if table.name == "tags":
            self.added["tags"] += put_tag(self.db, values["program_id"], values["tag"])
            return
        held = self._held(table, values)
        if held is None:
            values = self.copies.as_new(table, values)
            own = self._own(table, values)
            row_id = insert(self.db, table.name, **values, **own)
            self.added[table.name] += 1
        else:
            row_id = int(held["id"])
            values = self.copies.as_held(table, held, values)
            if is_whole(table, held):
                self._meet(table, held, values)
            else:
                self._heal(table, held, values)
            if held["uuid"] != values["uuid"]:
                self.stands_for[table.name, values["uuid"]] = row_id
        if table.name == "programs":
            name = values["name"] if held is None else held["name"]
            self.programs[row_id] = ProgramMerged(name, is_new=held is None)
        elif table.name == "revisions":
            self._count(values, row_id, is_new=held is None)

    def _count(self, revision: Row, row_id: int, *, is_new: bool) -> None:
        """Count a revision of the import; its program may have come with an earlier import."""
        program = revision["program_id"]
        if program not in self.programs:
            name = str(checked_row(self.db, "programs", program)["name"])
            self.programs[program] = ProgramMerged(name, is_new=False)
        one = self.programs[program]
        if not is_new:
            one.same += 1
            return
        one.new += 1
        alike = "SELECT 1 FROM revisions WHERE listing_id = ? AND program_id = ? AND id <> ?"
        one.other += not first(self.db, alike, (revision["listing_id"], program, row_id))

    # --- references ------------------------------------------------------------------------------

    def _values(self, table: Table, record: Record) -> dict[str, Any]:
        """Return the columns of a record with its references as row ids of this archive."""
        return {
            column.name: self._row(column.refers, record[column.name.removesuffix("_id")])
            if column.refers
            else record[column.name]
            for column in table.carried
        }

    def _row(self, table: str, key: Any) -> int | None:
        """Return the row id for a reference. Raises ArchiveError if this archive lacks it."""
        if key is None:
            return None
        if table == "listings":
            return self._listing(key)
        if (table, key) in self.stands_for:
            return self.stands_for[table, key]
        held = first(self.db, f"SELECT id FROM {table} WHERE uuid = ?", (key,))
        if held is None:
            what = table.replace("_", " ")
            raise refused(f"it refers to {what} that it does not hold", _EARLIER_FIRST)
        return int(held["id"])

    def _listing(self, number: int) -> int:
        if number not in self.listings:
            content = self.records.listing(number)
            check_content(content)
            self.healed += self.archive.heal(content)
            self.listings[number] = put_listing(self.db, content)
        return self.listings[number]

    # --- what is here already --------------------------------------------------------------------

    def _held(self, table: Table, values: Row) -> Row | None:
        """Return the row of this archive for the same record, or None."""
        held = first(
            self.db, f"SELECT {table.names} FROM {table.name} WHERE uuid = ?", (values["uuid"],)
        )
        if held is None and table.name == "boards" and values["usb_serial"]:
            return first(
                self.db,
                f"SELECT {table.names} FROM boards "
                "WHERE usb_serial = ? AND usb_vid IS ? AND usb_pid IS ?",
                (values["usb_serial"], values["usb_vid"], values["usb_pid"]),
            )
        if table.name == "firmware_images":
            return self._held_image(held, values)
        return held

    def _held_image(self, held: Row | None, values: Row) -> Row | None:
        """Return the row of the same firmware image, repaired if damaged, or None."""
        if not is_sound(values["data"], values["sha256"]):
            raise refused("a firmware image in it does not have the SHA-256 that it states")
        same = f"SELECT {TABLES['firmware_images'].names} FROM firmware_images WHERE"
        held = held or first(self.db, f"{same} sha256 = ?", (values["sha256"],))
        if held is None:
            return None
        if held["sha256"] == values["sha256"]:
            about = {"part": values["part"], "name": values["name"]}
            self.archive.heal_image(held, values["data"], **about)
        return first(self.db, f"{same} id = ?", (held["id"],))

    def _meet(self, table: Table, held: Row, values: Row) -> None:
        """Merge a record that both archives hold."""
        if table.name == "programs":
            self._meet_program(held, values)
        elif table.name in ("events", "firmware_writes"):
            self._agree(table, held, values)
            if held["ended_at"] is None and values["ended_at"] is not None:
                end = {name: values[name] for name in table.changing}
                update(self.db, table.name, held["id"], **end)
        elif table.name == "boards":
            if values["last_seen"] > held["last_seen"]:
                update(self.db, "boards", held["id"], last_seen=values["last_seen"])
        else:
            self._agree(table, held, values)

    def _agree(self, table: Table, held: Row, values: Row) -> None:
        """Raise ArchiveError if two records differ; fill in references missing here."""
        ignored = set(table.changing)
        if table.name == "firmware_images":
            ignored = {"uuid", "kept_at", "part", "name"}
        news = {}
        for column in table.carried:
            here, there = held[column.name], values[column.name]
            if here == there or column.name in ignored:
                continue
            if not (column.refers and column.optional and (here is None or there is None)):
                what = table.name.replace("_", " ")
                raise refused(f"one of its {what} is here with other content")
            if here is None:
                news[column.name] = there
        if news:
            replace(self.db, table.name, held["id"], news)

    def _meet_program(self, held: Row, values: Row) -> None:
        title = max(held["title"], values["title"], key=lambda text: (len(text), text))
        if title != held["title"]:
            update(self.db, "programs", held["id"], title=title)
        if times := [at for at in (held["retired_at"], values["retired_at"]) if at]:
            self.retired[held["id"]] = max(times)
        if not held["retired_at"]:
            self.in_use.add(held["id"])

    def _heal(self, table: Table, held: Row, values: dict[str, Any]) -> None:
        """Repair a damaged row: its damaged column if that is all, else the whole row."""
        what = name_of(self.db, table.name, held["id"])
        for column in values:
            if is_whole(table, {**held, column: values[column]}):
                replace(self.db, table.name, held["id"], {column: values[column]})
                break
        else:
            own = self._own(table, values, instead_of=held["id"])
            replace(self.db, table.name, held["id"], {**values, **own})
        self.healed.append(what)

    # --- what holds here only --------------------------------------------------------------------

    def _own(self, table: Table, values: dict[str, Any], instead_of: int = 0) -> dict[str, Any]:
        """Return the columns that only this archive has. instead_of: id of the replaced row."""
        if table.name == "programs":
            self._name_program(values, instead_of)
            return {"name_key": fold(values["name"]), "latest_id": None, "revision_count": 0}
        if table.name == "boards":
            self._place_board(values, instead_of)
            return {"label_key": fold(values["label"]) or None}
        return {}

    def _name_program(self, values: dict[str, Any], instead_of: int) -> None:
        name = values["name"]
        taken = "SELECT 1 FROM programs WHERE name_key = ? AND id <> ?"
        if first(self.db, taken, (fold(name), instead_of)):
            mark = f"-{values['uuid'][:5]}"
            values["name"] = name[: LONGEST_NAME - len(mark)] + mark
            self.renamed[name] = values["name"]

    def _place_board(self, values: dict[str, Any], instead_of: int) -> None:
        mark = values["uuid"][:8]
        if not values["usb_serial"] and not instead_of:
            values["location"] = f"elsewhere ({mark}): {values['location']}"
        taken = "SELECT 1 FROM boards WHERE label_key = ? AND id <> ?"
        key = fold(values["label"])
        if key and first(self.db, taken, (key, instead_of)):
            values["label"] = f"{values['label'][: LONGEST_LABEL - 6]} {mark[:5]}"
