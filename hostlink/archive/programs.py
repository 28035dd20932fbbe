"""List programs, note and tag them, retire them and bring them back."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlite_utils import Database

from hostlink.archive.archive_file import ArchiveFile, new_uuid
from hostlink.archive.database.checksums import is_whole
from hostlink.archive.database.database_errors import damaged, index_damaged
from hostlink.archive.database.joined import Known, Part, Parts, Records
from hostlink.archive.database.rows import damaged_rows, found_by, insert, rows
from hostlink.archive.database.tables import TABLES
from hostlink.archive.lookup import find_spec, program_at, program_id
from hostlink.archive.names import Spec, clean
from hostlink.archive.records import Listed, Program, Rescue
from hostlink.archive.retiring import Change, change_use
from hostlink.archive.times import parse_utc, parse_utc_or_none
from hostlink.errors import ArchiveError
from hostlink.words import fold, natural

LONGEST_TAG = 40
_AT_ONCE = 1000


class Programs(ArchiveFile):
    """The archive's methods for programs."""

    def programs(
        self, *, retired: bool | None = False, tag: str | None = None, limit: int | None = None
    ) -> Listed[Program]:
        """Return programs by name.

        retired: False for those in use, True for retired ones, None for all.
        """
        with self.reading("The programs") as db:
            held = db.execute("SELECT id, name, retired_at IS NOT NULL FROM programs").fetchall()
            if tag is not None:
                tagged = db.execute(
                    "SELECT program_id FROM tags WHERE tag_key = ?", (fold(clean(tag)),)
                )
                of_tag = {row[0] for row in tagged}
                held = [row for row in held if row[0] in of_tag]
            held.sort(key=lambda row: natural(str(row[1])))
            wanted = [row_id for row_id, _, is_retired in held if retired in (None, is_retired)]
            ids = wanted[:limit]
            found, lost = programs_at(db, ids)
            # Only undamaged rows show whether they belong in the list.
            others = {row_id for row_id, _, _ in held}.difference(wanted)
            broken = list(damaged_rows(db, "programs", others))
            lost += [f"{name} is damaged." for row_id, name, _ in held if row_id in broken]
            # A damaged page may lead to another row than the one that was looked at above.
            astray = [i for i, one in found.items() if retired not in (None, one.retired)]
            lost += [index_damaged(found.pop(i).name).what for i in astray]
        return Listed((found[row_id] for row_id in ids if row_id in found), lost)

    def program(self, name: str) -> Program:
        """Return a program, retired or not. Raises ArchiveError with similar names."""
        with self.reading(f"The program {name}") as db:
            return _program_at(db, program_id(db, name), name)

    def note(self, spec: str, text: str) -> None:
        """Add a note to a program (NAME) or a revision (NAME@3); earlier notes stay.

        Only the latest note is shown, and an empty one is not.
        """
        named = Spec.from_text(spec)
        with self.writing(f"The note on {spec}") as db:
            program, revision = _noted(db, named)
            insert(
                db,
                "notes",
                uuid=new_uuid(),
                program_id=program,
                revision_id=revision,
                text=clean(text).strip(),
                noted_at=self._time(),
            )

    def notes(self, name: str) -> Listed[tuple[str, str]]:
        """Return all notes on a program and its revisions with their times, oldest first."""
        with self.reading(f"The notes on {name}") as db:
            return _NOTES.listed(
                db, "WHERE notes.program_id = ? ORDER BY notes.id", (program_id(db, name),)
            )

    def tag(self, name: str, *tags: str) -> None:
        """Add tags to a program; existing ones stay. Raises ArchiveError."""
        checked = [checked_tag(tag) for tag in tags]
        with self.writing(f"The change to the tags of {name}") as db:
            program = program_id(db, name)
            for tag in checked:
                put_tag(db, program, tag)

    def untag(self, name: str, *tags: str) -> None:
        """Remove tags from a program; missing ones are ignored."""
        with self.writing(f"The change to the tags of {name}") as db:
            program = program_id(db, name)
            for tag in tags:
                db.execute(
                    "DELETE FROM tags WHERE program_id = ? AND tag_key = ?",
                    (program, fold(clean(tag).strip())),
                )

    def retire(self, name: str) -> Program:
        """Remove a program from the list; its revisions stay. Repeating this is harmless."""
        return self._change_use(name, "retire")

    def bring_back(self, name: str) -> Program:
        """Return a retired program to the list. Repeating this is harmless."""
        return self._change_use(name, "return")

    def _change_use(self, name: str, change: Change) -> Program:
        with self.writing(f"The change to {name}") as db:
            row_id = program_id(db, name)
            change_use(db, program_at(db, row_id, name), self._time(), change)
            return _program_at(db, row_id, name)


def put_tag(db: Database, program: int, tag: str) -> bool:
    """Add a tag to a program; return whether it is new, or was damaged."""
    key = fold(tag)
    table = TABLES["tags"]
    same = f"SELECT {table.names} FROM tags WHERE tag_key = ? AND program_id = ?"
    for held in rows(db, same, (key, program)):
        if is_whole(table, held):
            return False
        db.execute("DELETE FROM tags WHERE id = ?", (held["id"],))
    insert(db, "tags", program_id=program, tag=tag, tag_key=key)
    return True


def checked_tag(tag: str) -> str:
    """Return a valid tag: 1 to 40 printable characters without blanks. Raises ArchiveError."""
    tag = tag.strip()
    if not tag or len(tag) > LONGEST_TAG or not tag.isprintable() or " " in tag:
        raise ArchiveError(
            f'"{tag[:LONGEST_TAG]}" cannot be a tag: a tag is one word of at most {LONGEST_TAG} '
            "characters.",
            kept="No tag was changed.",
        )
    return tag


def programs_at(
    db: Database, ids: Sequence[int], known: Known | None = None
) -> tuple[dict[int, Program], list[str]]:
    """Return the programs of some rows by row id, and sentences on what is damaged.

    known: rows checked before in the same transaction.
    """
    known = {} if known is None else known
    found, lost = dict[int, Program](), list[str]()
    for at in range(0, len(ids), _AT_ONCE):
        some, more = _PROGRAMS.by_id(db, ids[at : at + _AT_ONCE], known)
        of_these = json.dumps(list(some))
        of_them = f"WHERE tags.program_id {_IN}"
        tags = _TAGS.listed(db, of_them, (of_these,), known)
        if tags.damaged:
            tags = _NAMED_TAGS.listed(db, of_them, (of_these,), known)
        notes = _LAST_NOTES.listed(
            db,
            "WHERE notes.id IN (SELECT max(id) FROM notes "
            f"WHERE program_id {_IN} AND revision_id IS NULL GROUP BY program_id)",
            (of_these,),
            known,
        )
        held: dict[int, list[str]] = {}
        for program, tag in tags:
            held.setdefault(program, []).append(tag)
        noted = dict(notes)
        found |= {
            row_id: replace(
                one,
                tags=tuple(sorted(held.get(row_id, ()), key=natural)),
                note=noted.get(row_id, ""),
            )
            for row_id, one in some.items()
        }
        lost += [*more, *tags.damaged, *notes.damaged]
    return found, lost


def _program_at(db: Database, row_id: int, name: str) -> Program:
    found, lost = programs_at(db, [row_id])
    if row_id not in found:
        raise damaged(f"The latest revision of {name}" if lost else name)
    return found[row_id]


def _noted(db: Database, named: Spec) -> tuple[int, int | None]:
    """Return the row ids of the program and, if named, the revision of a note."""
    if named.is_rescue:
        raise ArchiveError(
            "A rescue cannot have a note.",
            advice="Keep it as a program, then put the note on that.",
        )
    program = program_id(db, named.name)
    if named.number is None:
        return program, None
    item = find_spec(db, named)
    assert not isinstance(item, Rescue)
    held = found_by(db, "revisions", "uuid", item.uuid)
    assert held is not None
    return program, int(held["id"])


def _program(parts: Parts, _: list[str]) -> Program:
    row, latest, listing = parts["programs"], parts["latest"], parts["listings"]
    return Program(
        uuid=row["uuid"],
        name=row["name"],
        title=row["title"],
        tags=(),
        note="",
        retired_at=parse_utc_or_none(row["retired_at"]),
        revisions=row["revision_count"],
        latest=latest["number"],
        size_bytes=latest["size_bytes"],
        line_count=listing["line_count"],
        kept_at=parse_utc(latest["kept_at"]),
    )


_IN = "IN (SELECT value FROM json_each(?))"
_PROGRAMS = Records(
    (
        Part("programs", "programs"),
        Part("latest", "revisions", "latest.id = programs.latest_id"),
        Part("listings", "listings", "listings.id = latest.listing_id"),
    ),
    _program,
    lambda shown: str(shown["programs.name"]),
)


def _note_name(shown: Mapping[str, Any]) -> str:
    return f"A note on {shown['programs.name']}"


_OF_PROGRAM = Part("programs", "programs", "programs.id = notes.program_id")
_NOTES = Records(
    (Part("notes", "notes"), _OF_PROGRAM),
    lambda parts, _: (str(parts["notes"]["noted_at"]), str(parts["notes"]["text"])),
    _note_name,
)
_LAST_NOTES = Records(
    (Part("notes", "notes"), _OF_PROGRAM),
    lambda parts, _: (int(parts["notes"]["program_id"]), str(parts["notes"]["text"])),
    _note_name,
)
_TAG = Part("tags", "tags")


def _tag(parts: Parts, _: list[str]) -> tuple[int, str]:
    return int(parts["tags"]["program_id"]), str(parts["tags"]["tag"])


# The program's name is needed only to say whose tag is damaged.
_TAGS = Records((_TAG,), _tag, lambda _: "A tag")
_NAMED_TAGS = Records(
    (_TAG, Part("programs", "programs", "programs.id = tags.program_id")),
    _tag,
    lambda shown: f"A tag of {shown['programs.name']}",
)
