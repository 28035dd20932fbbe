"""Rescues: what boards held just before it was overwritten. Numbered, never changed."""

from __future__ import annotations

from sqlite_utils import Database

from hostlink.archive.healing import Healing
from hostlink.archive.listings import check_content
from hostlink.archive.lookup import RESCUE, board_id, program_id, read_rescue, rescue_at
from hostlink.archive.names import fold
from hostlink.archive.records import Content, Origin, Rescue
from hostlink.archive.revisions import keeping
from hostlink.archive.session import first, insert, new_uuid, rows


class Rescues(Healing):
    """Keeping and listing rescues."""

    def rescue(
        self,
        content: Content,
        origin: Origin,
        *,
        program: str | None = None,
        search_text: str | None = None,
    ) -> Rescue:
        """Keep what a board holds before it is overwritten; program is the one it is, if known.

        A board or program that is not in the archive does not stop it: better a rescue without an
        owner than none. When this returns, the rescue and its event are on the disk.
        Raises ArchiveError: nothing was kept, so nothing may be overwritten.
        """
        check_content(content)
        with self.writing("The rescue of what the board held") as db:
            self.heal(content)
            board = _id_if_known(db, "boards", "uuid", origin.board_uuid)
            owner = _id_if_known(db, "programs", "name_key", program and fold(program.strip()))
            number = db.execute("SELECT coalesce(max(number), 0) + 1 FROM rescues").fetchone()[0]
            at = self._time()
            kept = insert(
                db,
                "rescues",
                number=number,
                board_id=board,
                program_id=owner,
                kept_at=at,
                **keeping(db, content, origin, search_text),
            )
            insert(
                db,
                "events",
                uuid=new_uuid(),
                job="rescue",
                board_id=board,
                program_id=owner,
                rescue_id=kept,
                started_at=at,
                ended_at=at,
                outcome="done",
            )
            return rescue_at(db, kept)

    def rescues(
        self,
        *,
        board_uuid: str | None = None,
        program: str | None = None,
        limit: int | None = None,
    ) -> list[Rescue]:
        """Rescues, newest first: all, or those of one board, or of one program."""
        with self.reading("The rescues") as db:
            wanted: dict[str, int] = {}
            if board_uuid is not None:
                wanted["rescues.board_id = ?"] = board_id(db, board_uuid)
            if program is not None:
                wanted["rescues.program_id = ?"] = program_id(db, program)
            found = rows(
                db,
                f"{RESCUE} WHERE {' AND '.join(wanted) or '1'} ORDER BY rescues.id DESC LIMIT ?",
                [*wanted.values(), -1 if limit is None else limit],
            )
        return [read_rescue(row) for row in found]

    def newest_rescue(self, board_uuid: str) -> Rescue | None:
        """The last rescue of a board, or None."""
        found = self.rescues(board_uuid=board_uuid, limit=1)
        return found[0] if found else None


def _id_if_known(db: Database, table: str, column: str, value: str | None) -> int | None:
    held = first(db, f"SELECT id FROM {table} WHERE {column} = ?", (value,))
    return None if held is None else int(held["id"])
