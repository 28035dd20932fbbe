"""Programs: listing them, their notes and tags, and taking them out of use and back."""

from __future__ import annotations

from collections.abc import Sequence

from sqlite_utils import Database

from hostlink.archive.lookup import find_spec, program_id
from hostlink.archive.names import Spec, clean, fold
from hostlink.archive.records import Program, Rescue
from hostlink.archive.retiring import Change, change_use
from hostlink.archive.session import Row, Session, first, insert, new_uuid, rows
from hostlink.archive.times import read, read_or_none
from hostlink.archive.trouble import damaged, from_row
from hostlink.errors import ArchiveError

LONGEST_TAG = 40

_PROGRAM = """
SELECT
  programs.id, programs.uuid, programs.name, programs.title, programs.retired_at,
  (SELECT group_concat(tag, char(31)) FROM
    (SELECT tag FROM tags WHERE program_id = programs.id ORDER BY tag_key)) AS tags,
  coalesce((SELECT text FROM notes WHERE program_id = programs.id AND revision_id IS NULL
    ORDER BY id DESC LIMIT 1), '') AS note,
  (SELECT count(*) FROM revisions WHERE program_id = programs.id) AS revisions,
  latest.number AS latest, latest.size_bytes, latest.kept_at, listings.line_count
FROM programs
JOIN revisions AS latest ON latest.id =
  (SELECT id FROM revisions WHERE program_id = programs.id
     ORDER BY kept_at DESC, number DESC, uuid DESC LIMIT 1)
JOIN listings ON listings.id = latest.listing_id
"""


class Programs(Session):
    """Programs as a person sees them."""

    def programs(
        self, *, retired: bool | None = False, tag: str | None = None, limit: int | None = None
    ) -> list[Program]:
        """Programs by name. retired: False those in use, True those retired, None both."""
        wanted: list[str] = []
        values: list[object] = []
        if retired is not None:
            wanted.append(f"programs.retired_at IS {'NOT ' if retired else ''}NULL")
        if tag is not None:
            wanted.append("programs.id IN (SELECT program_id FROM tags WHERE tag_key = ?)")
            values.append(fold(clean(tag)))
        with self.reading("The programs") as db:
            found = rows(
                db,
                f"{_PROGRAM} WHERE {' AND '.join(wanted) or '1'} "
                "ORDER BY programs.name_key LIMIT ?",
                [*values, -1 if limit is None else limit],
            )
        return [_program(row) for row in found]

    def program(self, name: str) -> Program:
        """One program, retired or not. Raises ArchiveError with the nearest names."""
        with self.reading(f"The program {name}") as db:
            return _program_at(db, program_id(db, name))

    def note(self, spec: str, text: str) -> None:
        """Note something on a program (NAME) or on one revision (NAME@3); earlier notes stay.

        The last note is the one shown; an empty one shows none.
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

    def notes(self, name: str) -> list[tuple[str, str]]:
        """Every note ever put on a program or its revisions, oldest first: when, and the text."""
        with self.reading(f"The notes on {name}") as db:
            found = rows(
                db,
                "SELECT noted_at, text FROM notes WHERE program_id = ? ORDER BY id",
                (program_id(db, name),),
            )
        return [(row["noted_at"], row["text"]) for row in found]

    def tag(self, name: str, *tags: str) -> None:
        """Put tags on a program; those it has already stay as they are. Raises ArchiveError."""
        checked = [checked_tag(tag) for tag in tags]
        with self.writing(f"The tags of {name}") as db:
            program = program_id(db, name)
            for tag in checked:
                db.execute(
                    "INSERT OR IGNORE INTO tags (program_id, tag, tag_key) VALUES (?, ?, ?)",
                    (program, tag, fold(tag)),
                )

    def untag(self, name: str, *tags: str) -> None:
        """Take tags off a program; those it does not have are passed over."""
        with self.writing(f"The tags of {name}") as db:
            program = program_id(db, name)
            for tag in tags:
                db.execute(
                    "DELETE FROM tags WHERE program_id = ? AND tag_key = ?",
                    (program, fold(clean(tag).strip())),
                )

    def retire(self, name: str) -> Program:
        """Take a program out of the list; everything of it stays. Twice does no harm."""
        return self._change_use(name, "retire")

    def bring_back(self, name: str) -> Program:
        """Put a retired program back into the list. Twice does no harm."""
        return self._change_use(name, "return")

    def _change_use(self, name: str, change: Change) -> Program:
        with self.writing(f"The change to {name}") as db:
            program = program_id(db, name)
            change_use(db, program, self._time(), change)
            return _program_at(db, program)


def checked_tag(tag: str) -> str:
    """A tag as it is kept: 1 to 40 printable characters without blanks. Raises ArchiveError."""
    tag = tag.strip()
    if not tag or len(tag) > LONGEST_TAG or not tag.isprintable() or " " in tag:
        raise ArchiveError(
            f'"{tag[:LONGEST_TAG]}" cannot be a tag: a tag is one word of at most {LONGEST_TAG} '
            "characters.",
            kept="No tag was changed.",
        )
    return tag


def programs_at(db: Database, ids: Sequence[int]) -> dict[int, Program]:
    """The programs of those rows by id, except any whose latest listing is lost."""
    marks = ", ".join("?" * len(ids))
    found = rows(db, f"{_PROGRAM} WHERE programs.id IN ({marks})", list(ids))
    return {row["id"]: _program(row) for row in found}


def _program_at(db: Database, row_id: int) -> Program:
    found = programs_at(db, [row_id])
    if row_id not in found:
        raise damaged("The latest revision of this program")
    return found[row_id]


def _noted(db: Database, named: Spec) -> tuple[int, int | None]:
    """The ids of the program and, where one is named, of the revision that a note is on."""
    if named.is_rescue:
        raise ArchiveError(
            "A rescue takes no note.", advice="Keep it under a name first, then note on that."
        )
    program = program_id(db, named.name)
    if named.number is None:
        return program, None
    item = find_spec(db, named)
    assert not isinstance(item, Rescue)
    held = first(db, "SELECT id FROM revisions WHERE uuid = ?", (item.uuid,))
    assert held is not None
    return program, int(held["id"])


@from_row("A program")
def _program(row: Row) -> Program:
    return Program(
        uuid=row["uuid"],
        name=row["name"],
        title=row["title"],
        tags=tuple(row["tags"].split("\x1f")) if row["tags"] else (),
        note=row["note"],
        retired_at=read_or_none(row["retired_at"]),
        revisions=row["revisions"],
        latest=row["latest"],
        size_bytes=row["size_bytes"],
        line_count=row["line_count"],
        kept_at=read(row["kept_at"]),
    )
