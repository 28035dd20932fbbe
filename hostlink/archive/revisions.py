"""Revisions: kept once, numbered without gaps, never changed."""

from __future__ import annotations

import contextlib
from typing import Any

from sqlite_utils import Database

from hostlink.archive.healing import Healing
from hostlink.archive.listings import check_content, proven_content, put_listing
from hostlink.archive.lookup import (
    RESCUE,
    REVISION,
    board_id,
    find_spec,
    latest_revision,
    parent_id,
    program_id,
    read_rescue,
    read_revision,
    revision_at,
)
from hostlink.archive.names import Spec, checked_name, clean, fold
from hostlink.archive.records import Content, Kept, Origin, Rescue, Revision
from hostlink.archive.retiring import change_use
from hostlink.archive.session import Row, first, insert, new_uuid, rows
from hostlink.archive.times import read, stored
from hostlink.archive.trouble import from_row, printable
from hostlink.errors import ArchiveError

_MOST_HOLDERS = 100
HERE = 1  # the row of this archive in archives


class Revisions(Healing):
    """Keeping, naming and reading revisions and rescues."""

    def keep(
        self,
        name: str,
        content: Content,
        origin: Origin,
        *,
        title: str = "",
        parent: Revision | None = None,
        search_text: str | None = None,
    ) -> Kept:
        """Keep content as the next revision of the program, making the program where it is new.

        Exactly the bytes of the latest revision give that one back. A title replaces the
        program's where it is not empty. parent: the revision it was made from; the program's
        latest by default. A retired program comes back. When this returns, the revision is on
        the disk. Raises ArchiveError: nothing of it was kept.
        """
        name = checked_name(name)
        check_content(content)
        with self.writing(f"The new revision of {name}") as db:
            self.heal(content)
            program = self._program_for(db, name, clean(title))
            latest = latest_revision(db, program)
            if latest and latest["sha256"] == content.sha256:
                return Kept(read_revision(latest), False)
            number = db.execute(
                "SELECT coalesce(max(number), 0) + 1 FROM revisions WHERE program_id = ?",
                (program,),
            ).fetchone()[0]
            revision = insert(
                db,
                "revisions",
                program_id=program,
                number=number,
                parent_id=parent_id(db, parent) if parent or not latest else latest["id"],
                board_id=None if origin.board_uuid is None else board_id(db, origin.board_uuid),
                # Never before the one it follows, even if the computer's clock was put back.
                kept_at=max(self._time(), _when(latest) if latest else ""),
                **keeping(db, content, origin, search_text),
            )
            return Kept(revision_at(db, revision), True)

    def _program_for(self, db: Database, name: str, title: str) -> int:
        """The id of the program of that name, made or brought back where need be."""
        held = first(
            db, "SELECT id, title, retired_at FROM programs WHERE name_key = ?", (fold(name),)
        )
        if held is None:
            return insert(
                db,
                "programs",
                uuid=new_uuid(),
                name=name,
                name_key=fold(name),
                title=title,
                made_at=self._time(),
            )
        if title and title != held["title"]:
            db.execute("UPDATE programs SET title = ? WHERE id = ?", (title, held["id"]))
        if held["retired_at"] is not None:
            change_use(db, held["id"], self._time(), "return")
        return int(held["id"])

    def revision(self, spec: str) -> Revision | Rescue:
        """What NAME (its latest revision), NAME@3 or rescue@12 names. Raises ArchiveError."""
        named = Spec.from_text(spec)
        with self.reading(f"{spec}") as db:
            return find_spec(db, named)

    def history(self, name: str) -> list[Revision]:
        """Every revision of a program in the order of time, wherever kept. Raises ArchiveError."""
        with self.reading(f"The history of {name}") as db:
            found = rows(
                db,
                f"{REVISION} WHERE revisions.program_id = ? "
                "ORDER BY revisions.kept_at, revisions.number, revisions.uuid",
                (program_id(db, name),),
            )
        return [read_revision(row) for row in found]

    def content(self, item: Revision | Rescue) -> Content:
        """The listing of a revision or rescue, exact bytes and all. Raises ArchiveError."""
        table = "rescues" if isinstance(item, Rescue) else "revisions"
        with self.reading(f"The listing of {item.spec}") as db:
            row = first(
                db,
                f"SELECT listings.*, {table}.size_bytes FROM {table} "
                f"JOIN listings ON listings.id = {table}.listing_id WHERE {table}.uuid = ?",
                (item.uuid,),
            )
        if row is None:
            raise ArchiveError(f"{printable(item.spec)} is not in this archive.")
        return proven_content(row, f"The listing of {item.spec}")

    def holds(self, what: Content | str) -> list[Revision | Rescue]:
        """Revisions and rescues of the same program for the board, newest first, 100 at most.

        Only those whose listing was read just now and has the SHA-256 that it was kept with.
        what: a content, or the SHA-256 of a canonical text in hexadecimal.
        """
        digest = what.canonical_sha256 if isinstance(what, Content) else what.lower()
        if len(digest) != 64 or set(digest) - set("0123456789abcdef"):
            raise ArchiveError(f'"{digest}" is no SHA-256.', advice="Give 64 hexadecimal digits.")
        same = "listings.canonical_sha256 = ?"
        key = (bytes.fromhex(digest), _MOST_HOLDERS)
        with self.reading("Whether the archive holds this listing") as db:
            whole = _whole_listings(db, key[0])
            revisions = rows(db, f"{REVISION} WHERE {same} ORDER BY revisions.id DESC LIMIT ?", key)
            rescues = rows(db, f"{RESCUE} WHERE {same} ORDER BY rescues.id DESC LIMIT ?", key)
            found: list[Revision | Rescue] = [
                *(read_revision(row) for row in revisions if row["listing_id"] in whole),
                *(read_rescue(row) for row in rescues if row["listing_id"] in whole),
            ]
        return sorted(found, key=lambda item: item.at, reverse=True)[:_MOST_HOLDERS]


def _whole_listings(db: Database, canonical_sha256: bytes) -> set[int]:
    """The ids of the listings with that canonical text whose bytes are those once kept."""
    whole = set[int]()
    alike = "SELECT *, NULL AS size_bytes FROM listings WHERE canonical_sha256 = ?"
    for row in rows(db, alike, (canonical_sha256,)):
        with contextlib.suppress(ArchiveError):
            proven_content(row, "This listing")
            whole.add(row["id"])
    return whole


def keeping(
    db: Database, content: Content, origin: Origin, search_text: str | None
) -> dict[str, Any]:
    """The columns that revisions and rescues share; the listing is stored where it is new."""
    return {
        "uuid": new_uuid(),
        "archive_id": HERE,
        "listing_id": put_listing(db, content, search_text),
        "size_bytes": content.size_bytes,
        "origin": origin.kind,
        "origin_where": clean(origin.where),
        "note": clean(origin.note),
        "captures": origin.captures,
        "after_restart": int(origin.after_restart),
    }


@from_row("The latest revision of this program")
def _when(row: Row) -> str:
    """The stored time of a revision."""
    return stored(read(row["kept_at"]))
