"""Keep revisions: stored once, numbered without gaps, never changed."""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Mapping
from typing import Any

from sqlite_utils import Database

from hostlink.archive.archive_file import new_uuid
from hostlink.archive.database.database_errors import damaged, index_damaged, not_in_archive
from hostlink.archive.database.joined import Part, Parts, Records
from hostlink.archive.database.rows import Row, checked_row, first, found_by, insert, rows, update
from hostlink.archive.healing import Healing
from hostlink.archive.listings import check_content, proven_content, put_listing
from hostlink.archive.lookup import (
    HERE,
    RESCUES,
    REVISIONS,
    board_id,
    find_program,
    find_spec,
    latest_revision,
    parent_id,
    program_at,
    program_id,
)
from hostlink.archive.names import Spec, checked_name, clean
from hostlink.archive.records import Content, Kept, Listed, Origin, Rescue, Revision
from hostlink.archive.retiring import change_use
from hostlink.errors import ArchiveError
from hostlink.words import fold

_MOST_HOLDERS = 100
LIBRARY = uuid.UUID("59f7b993-586f-4731-977f-75b1df748522")
"""The namespace of the UUIDs that programs get; never to be changed."""


class Revisions(Healing):
    """The archive's methods for revisions and rescues."""

    def keep(
        self,
        name: str,
        content: Content,
        origin: Origin,
        *,
        title: str = "",
        parent: Revision | None = None,
    ) -> Kept:
        """Keep content as the next revision of a program; make the program if it is new.

        If the bytes equal those of the latest revision, that one is returned. A title that is not
        empty replaces the title of the program. parent: the revision it was made from, by default
        the latest. A retired program returns to the list. The revision is on the disk when this
        returns. Raises ArchiveError, and keeps nothing then.
        """
        name = checked_name(name)
        check_content(content)
        with self.writing(f"The new revision of {name}") as db:
            self.heal(content)
            program = self._program_for(db, name, clean(title), content, origin)
            latest = latest_revision(db, program)
            if latest and latest.sha256 == content.sha256:
                return Kept(latest, False)
            revision = insert(
                db,
                "revisions",
                program_id=program["id"],
                number=latest.number + 1 if latest else 1,
                parent_id=parent_id(db, parent) if parent else program["latest_id"],
                board_id=None if origin.board_uuid is None else board_id(db, origin.board_uuid),
                kept_at=self._time(),
                **keeping(db, content, origin),
            )
            count = program["revision_count"] + 1
            update(db, "programs", program["id"], latest_id=revision, revision_count=count)
            return Kept(REVISIONS.at(db, revision), True)

    def _program_for(
        self, db: Database, name: str, title: str, content: Content, origin: Origin
    ) -> Row:
        """Return the row of the named program, after making it or bringing it back if needed."""
        row_id = find_program(db, name)
        is_shipped = origin.kind == "library" and fold(origin.where) == fold(name)
        identity = library_identity(name) if is_shipped else program_identity(name, content)
        if row_id is None and (held := found_by(db, "programs", "uuid", identity)):
            row_id = int(held["id"])  # it came from elsewhere and is shown under another name
        if row_id is None:
            row_id = insert(
                db,
                "programs",
                uuid=identity,
                name=name,
                name_key=fold(name),
                title=title,
                made_at=self._time(),
            )
        program = program_at(db, row_id, name)
        if title and title != program["title"]:
            update(db, "programs", row_id, title=title)
        if program["retired_at"] is not None:
            change_use(db, program, self._time(), "return")
        return program

    def revision(self, spec: str) -> Revision | Rescue:
        """Return a revision or rescue by its spec, NAME for the latest. Raises ArchiveError."""
        named = Spec.from_text(spec)
        with self.reading(spec) as db:
            return find_spec(db, named)

    def history(self, name: str) -> Listed[Revision]:
        """Return the revisions of a program by number, from all archives. Raises ArchiveError."""
        with self.reading(f"The history of {name}") as db:
            program = program_id(db, name)
            found = REVISIONS.listed(
                db,
                "WHERE revisions.program_id = ? "
                "ORDER BY revisions.number, revisions.kept_at, revisions.uuid",
                (program,),
            )
            lost = list(found.damaged)
            try:
                due = program_at(db, program, name)["revision_count"]
            except ArchiveError as error:
                lost.append(error.what)
            else:
                if not lost and len(found) != due:
                    lost.append(f"The index of the revisions of {name} is damaged.")
        return Listed(found, lost)

    def content(self, item: Revision | Rescue) -> Content:
        """Return the listing of a revision or rescue. Raises ArchiveError."""
        kept = _RESCUE_LISTINGS if isinstance(item, Rescue) else _REVISION_LISTINGS
        with self.reading(f"The listing of {item.spec}") as db:
            held = kept.first(db, "WHERE kept.uuid = ?", (item.uuid,))
            if held is None:
                unseen = f"SELECT 1 FROM {kept.parts[0].table} NOT INDEXED WHERE uuid = ?"
                if first(db, unseen, (item.uuid,)) is not None:
                    raise index_damaged(item.spec)
                raise not_in_archive(item.spec)
        row, size = held
        if row["sha256"].hex() != item.sha256:
            raise damaged(f"The listing of {item.spec}")
        return proven_content(row, f"The listing of {item.spec}", size)

    def holds(self, what: Content | str) -> list[Revision | Rescue]:
        """Return the revisions and rescues with the same canonical text, newest first.

        At most 100. Each listing is read and proven by its SHA-256. what: a content, or the SHA-256
        of a canonical text in hexadecimal.
        """
        digest = what.canonical_sha256 if isinstance(what, Content) else what.lower()
        if len(digest) != 64 or set(digest) - set("0123456789abcdef"):
            raise ArchiveError(
                f'"{digest}" is not a SHA-256.', advice="Give 64 hexadecimal digits."
            )
        with self.reading("The record of this listing") as db:
            found: list[Revision | Rescue] = []
            for listing in _whole_listings(db, bytes.fromhex(digest)):
                for records, table in ((REVISIONS, "revisions"), (RESCUES, "rescues")):
                    of_it = f"WHERE {table}.listing_id = ? ORDER BY {table}.id DESC LIMIT ?"
                    found += records.listed(db, of_it, (listing, _MOST_HOLDERS))
        same = [item for item in found if item.canonical_sha256 == digest]
        return sorted(same, key=lambda item: item.at, reverse=True)[:_MOST_HOLDERS]


def library_identity(name: str) -> str:
    """Return the UUID of a program shipped with hostlink, the same in every archive.

    It is a UUID of version 5 (RFC 9562, section 5.5) of the name in capitals, so that two archives
    with the same shipped program have one program after a merge.
    """
    return str(uuid.uuid5(LIBRARY, name.upper()))


def program_identity(name: str, first: Content) -> str:
    """Return the UUID of a program that begins with a listing, the same in every archive.

    It is a version 5 UUID of the name and the canonical text, so that a listing handed out to many
    computers is one program after their archives are merged.
    """
    return str(uuid.uuid5(LIBRARY, f"{fold(name)}\n{first.canonical_sha256}"))


def _whole_listings(db: Database, canonical_sha256: bytes) -> list[int]:
    """Return the ids of the undamaged listings with a canonical text."""
    whole = list[int]()
    alike = "SELECT id FROM listings WHERE canonical_sha256 = ? ORDER BY id DESC"
    for found in rows(db, alike, (canonical_sha256,)):
        with contextlib.suppress(ArchiveError):
            proven_content(checked_row(db, "listings", found["id"]), "This listing")
            whole.append(found["id"])
    return whole


def keeping(db: Database, content: Content, origin: Origin) -> dict[str, Any]:
    """Return the columns that revisions and rescues share; store the listing if it is new."""
    return {
        "uuid": new_uuid(),
        "archive_id": HERE,
        "listing_id": put_listing(db, content),
        "size_bytes": content.size_bytes,
        "origin": origin.kind,
        "origin_where": clean(origin.where),
        "note": clean(origin.note),
        "captures": origin.captures,
        "after_restart": int(origin.after_restart),
        "unproven": clean(origin.unproven),
    }


def _listing_of(parts: Parts, _: list[str]) -> tuple[Row, int | None]:
    """Return the row of a listing with its hashed columns, and its recorded size."""
    return parts["listings"], parts["kept"]["size_bytes"]


def _listings_of(table: str) -> Records[tuple[Row, int | None]]:
    def name(_: Mapping[str, Any]) -> str:
        return "The listing"

    return Records(
        (
            Part("kept", table),
            Part("listings", "listings", "listings.id = kept.listing_id", hashed=True),
        ),
        _listing_of,
        name,
    )


_REVISION_LISTINGS, _RESCUE_LISTINGS = _listings_of("revisions"), _listings_of("rescues")
