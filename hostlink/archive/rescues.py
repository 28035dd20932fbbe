"""Keep rescues: what boards held before it was overwritten, numbered and never changed."""

from __future__ import annotations

from sqlite_utils import Database

from hostlink.archive.archive_file import new_uuid
from hostlink.archive.database.rows import first, insert
from hostlink.archive.healing import Healing
from hostlink.archive.listings import check_content
from hostlink.archive.lookup import RESCUES, board_id, known_program
from hostlink.archive.records import Content, Listed, Origin, Rescue
from hostlink.archive.revisions import keeping


class Rescues(Healing):
    """The archive's methods for rescues."""

    def rescue(
        self,
        content: Content,
        origin: Origin,
        *,
        program: str | None = None,
    ) -> Rescue:
        """Keep what a board holds before it is overwritten. program: its name, if known.

        An unknown board or program does not prevent the rescue. The rescue and its event are on the
        disk when this returns. Raises ArchiveError; then nothing was kept, and nothing may be
        overwritten.
        """
        check_content(content)
        with self.writing("The rescue of what was on the board") as db:
            self.heal(content)
            board = _board_if_known(db, origin.board_uuid)
            owner = known_program(db, program or "")
            number = db.execute("SELECT coalesce(max(number), 0) + 1 FROM rescues").fetchone()[0]
            at = self._time()
            kept = insert(
                db,
                "rescues",
                number=number,
                board_id=board,
                program_id=owner,
                kept_at=at,
                **keeping(db, content, origin),
            )
            told = {"board_id": board, "program_id": owner, "rescue_id": kept, "outcome": "done"}
            insert(db, "events", uuid=new_uuid(), job="rescue", started_at=at, ended_at=at, **told)
            return RESCUES.at(db, kept)

    def rescues(
        self,
        *,
        board_uuid: str | None = None,
        limit: int | None = None,
    ) -> Listed[Rescue]:
        """Return rescues, newest first: all, or those of one board."""
        with self.reading("The rescues") as db:
            board = None if board_uuid is None else board_id(db, board_uuid)
            return RESCUES.listed(
                db,
                "WHERE ? IS NULL OR rescues.board_id = ? ORDER BY rescues.id DESC LIMIT ?",
                [board, board, -1 if limit is None else limit],
            )

    def newest_rescue(self, board_uuid: str) -> Rescue | None:
        """Return the last rescue of a board, or None."""
        found = self.rescues(board_uuid=board_uuid, limit=1)
        return found[0] if found else None


def _board_if_known(db: Database, board_uuid: str | None) -> int | None:
    held = first(db, "SELECT id FROM boards WHERE uuid = ?", (board_uuid,))
    return None if held is None else int(held["id"])
