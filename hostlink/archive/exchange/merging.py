"""Taking in what was carried from another archive: whole, or not at all.

Rules:
1. Everything is known by its UUID. What is here already is left as it is, so merging twice changes
   nothing; and if it differs from what comes, the whole cargo is refused, for one of them is false.
   What only one of the two knows, such as a board, is filled in here.
2. A row that is damaged here is replaced by the same row from elsewhere.
3. Programs of the same name are the same only if their UUIDs are. Otherwise the one that comes is
   shown as NAME-12345, after its UUID; ours keeps its name.
4. Revision numbers stay those of the archive that gave them (NAME@3/12345678 names the third of
   archive 12345678 where ours has a third of its own). Two copies of one archive that both went on
   gave the same numbers: see copies.py.
5. A board is the same where its serial number is. One without is the same only by its UUID, since
   its place says nothing on another computer.
6. Where two archives disagree on what may change, the answer does not depend on which one asks:
   tags are united, a retirement lasts until a later use, an event that ended has ended.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from hostlink.archive.boards import LONGEST_LABEL
from hostlink.archive.database.checksums import is_sound, is_whole
from hostlink.archive.database.faults import FAULTS, not_read
from hostlink.archive.database.rows import Row, first, insert, replace, rows, update
from hostlink.archive.database.structure import faults_of
from hostlink.archive.database.tables import CARRIED, TABLES, Table
from hostlink.archive.exchange.arriving import check_record, refused
from hostlink.archive.exchange.copies import Copies
from hostlink.archive.exchange.payload import ArchiveCargo, Cargo, Record
from hostlink.archive.healing import Healing
from hostlink.archive.listings import check_content, put_listing
from hostlink.archive.lookup import count_revisions, program_id
from hostlink.archive.names import LONGEST_NAME, fold
from hostlink.archive.naming import name_of
from hostlink.archive.programs import put_tag
from hostlink.archive.retiring import settle
from hostlink.errors import ArchiveError

_EARLIER_FIRST = "If it is one of several exports, import the earlier ones first."


@dataclass(frozen=True, slots=True)
class Merged:
    """How many rows of each kind were new here, and programs that are shown under another name.

    healed: in words, what was damaged here and is whole again. left_out: what was damaged there.
    copies: UUIDs of copies of an archive that went on by themselves (see copies.py). retired: the
    names of programs that are retired here now because they were there.
    """

    added: Mapping[str, int]
    renamed: Mapping[str, str]
    healed: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    copies: tuple[str, ...] = ()
    retired: tuple[str, ...] = ()

    @property
    def anything(self) -> bool:
        """Whether anything is here now that was not here before, whole."""
        return any(self.added.values()) or bool(self.healed)


class Merging(Healing):
    """Giving out and taking in cargo."""

    @contextmanager
    def cargo(self, *, programs: tuple[str, ...] = (), since: str = "") -> Iterator[ArchiveCargo]:
        """What to carry, as it is at this moment: everything, the named programs, or what is newer.

        since: a stored time. What is damaged is left out and named. Raises ArchiveError for a
        program that is not here.
        """
        what = "What is to be carried"
        try:
            db = dataclasses.replace(self._access, read_only=True).connect()
        except FAULTS as error:
            raise not_read(what, error, self.path) from error
        try:
            db.execute("BEGIN")  # one unchanging view, whatever others write meanwhile
            chosen = [program_id(db, name) for name in programs] if programs else None
            yield ArchiveCargo(db, programs=chosen, since=since)
        except FAULTS as error:
            raise not_read(what, error, self.path) from error
        finally:
            db.close()

    def merge(self, cargo: Cargo) -> Merged:
        """Take in cargo. Raises ArchiveError with the reason: then nothing of it was taken in."""
        with self.writing("What was to be imported") as db:
            if broken := [each for each in faults_of(db) if each.is_of_structure]:
                raise ArchiveError(
                    f"The archive {self.path} is damaged, so nothing is taken in "
                    f"({broken[0].said}).",
                    kept="It is as it was.",
                    advice=lambda by: (
                        f"Rebuild it first {by.rebuild}; if that does not mend it, import "
                        "both into a new archive."
                    ),
                )
            return _Merge(db, cargo, self).run()

    def merge_file(self, path: Path) -> Merged:
        """Take in another archive's file. Raises ArchiveError."""
        with (
            type(self).open(path, create=False, read_only=True) as other,
            other.cargo() as cargo,
        ):
            return self.merge(cargo)


@dataclass
class _Merge:
    """One merge, inside one transaction."""

    db: Database
    cargo: Cargo
    archive: Healing
    listings: dict[int, int] = field(default_factory=dict)  # numbers in the cargo to ids here
    stands_for: dict[tuple[str, str], int] = field(default_factory=dict)  # known by another UUID
    added: dict[str, int] = field(default_factory=lambda: {each.name: 0 for each in CARRIED})
    renamed: dict[str, str] = field(default_factory=dict)
    healed: list[str] = field(default_factory=list)
    touched: set[int] = field(default_factory=set)  # programs
    retired: dict[int, str] = field(default_factory=dict)  # when, of programs that one has retired

    in_use: set[int] = field(default_factory=set)  # programs that were not retired here

    def __post_init__(self) -> None:
        self.copies = Copies(self.db)

    def run(self) -> Merged:
        for table in CARRIED:
            for record in self.cargo.records(table.name):
                self._take(table, check_record(table, record))
        for program in self.touched:
            count_revisions(self.db, program)
        self._refuse_empty_programs()
        for program, at in self.retired.items():
            settle(self.db, program, at)
        left_out = tuple(self.cargo.left_out)
        copies = tuple(self.copies.marks)
        healed, retired = tuple(self.healed), tuple(self._retired_now())
        return Merged(self.added, self.renamed, healed, left_out, copies, retired)

    def _retired_now(self) -> Iterator[str]:
        """The names of programs that this merge has retired, in order."""
        ids = json.dumps(sorted(self.in_use & self.retired.keys()))
        sql = "WHERE id IN (SELECT value FROM json_each(?)) AND retired_at IS NOT NULL"
        for program in rows(self.db, f"SELECT name FROM programs {sql} ORDER BY name_key", (ids,)):
            yield str(program["name"])

    def _refuse_empty_programs(self) -> None:
        """An export of what is newer names every program; here its revisions must have come."""
        empty = first(
            self.db,
            "SELECT name FROM programs WHERE id IN (SELECT value FROM json_each(?)) "
            "AND revision_count = 0",
            (json.dumps(list(self.touched)),),
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
            self.touched.add(row_id)
        elif table.name == "revisions":
            self.touched.add(values["program_id"])

    # --- references ------------------------------------------------------------------------------

    def _values(self, table: Table, record: Record) -> dict[str, Any]:
        """The columns of a record, its references turned into row ids here."""
        return {
            column.name: self._row(column.refers, record[column.name.removesuffix("_id")])
            if column.refers
            else record[column.name]
            for column in table.carried
        }

    def _row(self, table: str, key: Any) -> int | None:
        """The id here of what a record refers to. Raises ArchiveError where it is not here."""
        if key is None:
            return None
        if table == "listings":
            return self._listing(key)
        if (table, key) in self.stands_for:
            return self.stands_for[table, key]
        held = first(self.db, f"SELECT id FROM {table} WHERE uuid = ?", (key,))
        if held is None:
            what = table.replace("_", " ")
            raise refused(f"it needs something of {what} that is not in it", _EARLIER_FIRST)
        return int(held["id"])

    def _listing(self, number: int) -> int:
        if number not in self.listings:
            content = self.cargo.listing(number)
            check_content(content)
            self.healed += self.archive.heal(content)
            self.listings[number] = put_listing(self.db, content)
        return self.listings[number]

    # --- what is here already --------------------------------------------------------------------

    def _held(self, table: Table, values: Row) -> Row | None:
        """The row here of the same thing, or None."""
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
        """The image as it is here, whole; one kept earlier stands for the same from elsewhere."""
        if not is_sound(values["data"], values["sha256"]):
            raise refused("a firmware image in it has another SHA-256 than it says")
        same = f"SELECT {TABLES['firmware_images'].names} FROM firmware_images WHERE"
        held = held or first(self.db, f"{same} sha256 = ?", (values["sha256"],))
        if held is None:
            return None
        if held["sha256"] == values["sha256"]:
            about = {"part": values["part"], "name": values["name"]}
            self.archive.heal_image(held, values["data"], **about)
        return first(self.db, f"{same} id = ?", (held["id"],))

    def _meet(self, table: Table, held: Row, values: Row) -> None:
        """Both archives have it: they must agree, except on what may change."""
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
        """Refuse what differs, and fill in a reference that was lost here."""
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
        """Put what came in the place of a damaged row: the one column that is damaged, or all."""
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
        """The columns that are not carried. instead_of: the row that this one replaces."""
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
