"""Events: every job, on what, and how it ended."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from sqlite_utils import Database

from hostlink.archive.lookup import board_id
from hostlink.archive.names import clean, fold
from hostlink.archive.records import Event, Rescue, Revision
from hostlink.archive.session import Row, Session, first, insert, new_uuid, rows
from hostlink.archive.times import read, read_or_none
from hostlink.archive.trouble import from_row, printable
from hostlink.errors import ArchiveError, Interrupted, RefusedError

_EVENT = """
SELECT
  events.uuid, events.job, boards.uuid AS board_uuid, coalesce(boards.label, '') AS board,
  coalesce(programs.name, owner.name, '') AS program,
  coalesce(owner.name || '@' || revisions.number, '') AS revision,
  coalesce('rescue@' || rescues.number, '') AS rescue,
  events.started_at, events.ended_at, events.outcome, events.detail
FROM events
LEFT JOIN boards ON boards.id = events.board_id
LEFT JOIN programs ON programs.id = events.program_id
LEFT JOIN revisions ON revisions.id = events.revision_id
LEFT JOIN programs AS owner ON owner.id = revisions.program_id
LEFT JOIN rescues ON rescues.id = events.rescue_id
"""


@dataclass
class OpenEvent:
    """A job under way. What is set here is kept when it ends; detail must suit JSON."""

    uuid: str
    detail: dict[str, Any] = field(default_factory=dict)
    revision: Revision | None = None
    rescue: Rescue | None = None
    outcome: str = "done"


class Events(Session):
    """The record of all jobs."""

    @contextmanager
    def event(
        self,
        job: str,
        *,
        board_uuid: str | None = None,
        program: str = "",
        detail: Mapping[str, Any] | None = None,
    ) -> Iterator[OpenEvent]:
        """Record a job: begun before the block, ended after it, however it ends.

        The outcome is what the block set ("done" by default), or by the error that left it:
        "refused", "interrupted" or "failed", with the error's words in the detail. The error goes
        on as it was; if its end cannot be recorded it says that too.
        """
        started = OpenEvent(
            self.begin_event(job, board_uuid=board_uuid, program=program, detail=detail),
            dict(detail or {}),
        )
        try:
            yield started
        except BaseException as error:
            started.detail["error"] = str(error) or type(error).__name__
            try:
                self._end(started, _outcome(error))
            except ArchiveError as unrecorded:
                error.add_note(str(unrecorded))
            raise
        self._end(started, started.outcome)

    def _end(self, event: OpenEvent, outcome: str) -> None:
        self.end_event(
            event.uuid, outcome, revision=event.revision, rescue=event.rescue, detail=event.detail
        )

    def begin_event(
        self,
        job: str,
        *,
        board_uuid: str | None = None,
        program: str = "",
        detail: Mapping[str, Any] | None = None,
    ) -> str:
        """Record that a job has begun and return the event's UUID.

        program: a name; one that is not in the archive is kept in the detail instead.
        """
        noted = dict(detail or {})
        with self.writing(f"The record of this {job}") as db:
            held = first(db, "SELECT id FROM programs WHERE name_key = ?", (fold(clean(program)),))
            if program and held is None:
                noted.setdefault("program", program)
            uuid = new_uuid()
            insert(
                db,
                "events",
                uuid=uuid,
                job=clean(job),
                board_id=None if board_uuid is None else board_id(db, board_uuid),
                program_id=None if held is None else held["id"],
                started_at=self._time(),
                detail=_as_json(noted),
            )
        return uuid

    def end_event(
        self,
        uuid: str,
        outcome: str,
        *,
        revision: Revision | None = None,
        rescue: Rescue | None = None,
        detail: Mapping[str, Any] | None = None,
    ) -> None:
        """Record how a job ended. detail is added to what its beginning said.

        Raises ArchiveError where there is no such event, or it has ended before.
        """
        with self.writing("The end of this job") as db:
            held = first(db, "SELECT id, ended_at, detail FROM events WHERE uuid = ?", (uuid,))
            if held is None or held["ended_at"] is not None:
                state = "is not in the archive" if held is None else "has ended already"
                raise ArchiveError(f"The event {uuid} {state}.")
            db.execute(
                "UPDATE events SET ended_at = ?, outcome = ?, detail = ?, revision_id = ?, "
                "rescue_id = ? WHERE id = ?",
                (
                    self._time(),
                    clean(outcome),
                    _as_json({**json.loads(held["detail"]), **(detail or {})}),
                    _row_id(db, "revisions", revision),
                    _row_id(db, "rescues", rescue),
                    held["id"],
                ),
            )

    def events(
        self,
        limit: int | None = None,
        *,
        board_uuid: str | None = None,
        program: str | None = None,
        job: str | None = None,
    ) -> list[Event]:
        """Events, newest first: all, or those of one board, program or kind of job."""
        with self.reading("The events") as db:
            wanted: dict[str, object] = {}
            if board_uuid is not None:
                wanted["events.board_id = ?"] = board_id(db, board_uuid)
            if job is not None:
                wanted["events.job = ?"] = clean(job)
            if program is not None:
                wanted["coalesce(programs.name_key, owner.name_key) = ?"] = fold(clean(program))
            found = rows(
                db,
                f"{_EVENT} WHERE {' AND '.join(wanted) or '1'} ORDER BY events.id DESC LIMIT ?",
                [*wanted.values(), -1 if limit is None else limit],
            )
        return [_event(row) for row in found]


def _outcome(error: BaseException) -> str:
    """How a job ended that this error left."""
    if isinstance(error, Interrupted | KeyboardInterrupt):
        return "interrupted"
    return "refused" if isinstance(error, RefusedError) else "failed"


def _as_json(detail: Mapping[str, Any]) -> str:
    """Detail as JSON text that SQLite can store; what JSON does not know becomes its words."""
    try:
        text = json.dumps(detail, ensure_ascii=False, default=str, allow_nan=False, skipkeys=True)
    except ValueError:
        # Infinite numbers and loops have no JSON; a record must not stop a job for that.
        text = json.dumps({"detail": repr(detail)}, ensure_ascii=False)
    return clean(text)


def _row_id(db: Database, table: str, item: Revision | Rescue | None) -> int | None:
    if item is None:
        return None
    held = first(db, f"SELECT id FROM {table} WHERE uuid = ?", (item.uuid,))
    if held is None:
        raise ArchiveError(f"{printable(item.spec)} is not in this archive.")
    return int(held["id"])


@from_row("An event")
def _event(row: Row) -> Event:
    return Event(
        uuid=row["uuid"],
        job=row["job"],
        board_uuid=row["board_uuid"],
        board=row["board"],
        program=row["program"],
        revision=row["revision"],
        rescue=row["rescue"],
        started_at=read(row["started_at"]),
        ended_at=read_or_none(row["ended_at"]),
        outcome=row["outcome"],
        detail=json.loads(row["detail"]),
    )
