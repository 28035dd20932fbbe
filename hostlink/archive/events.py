"""Record every job: its subject and how it ended."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from sqlite_utils import Database

from hostlink.archive.archive_file import ArchiveFile, new_uuid
from hostlink.archive.database.database_errors import not_in_archive
from hostlink.archive.database.joined import Part, Parts, Records
from hostlink.archive.database.rows import found_by, insert, update
from hostlink.archive.lookup import (
    board_id,
    known_program,
    numbered_spec,
    owner_name,
    revision_parts,
    revision_spec,
)
from hostlink.archive.names import clean
from hostlink.archive.records import LEARNER, JobEvent, Listed, Rescue, Revision
from hostlink.archive.times import parse_utc, parse_utc_or_none
from hostlink.errors import ArchiveError, Interrupted, RefusedError
from hostlink.words import fold


@dataclass
class OpenEvent:
    """A job in progress. Its fields are recorded when it ends. detail: must be valid as JSON."""

    uuid: str
    detail: dict[str, Any] = field(default_factory=dict)
    revision: Revision | None = None
    rescue: Rescue | None = None
    outcome: str = "done"


_NEWEST_OF_LEARNERS = (
    "events.id IN (SELECT max(id) FROM (SELECT id, job, outcome, json_extract(detail, ?) AS whose, "
    "json_extract(detail, '$.overwrote') AS overwrote FROM events) WHERE whose IS NOT NULL "
    "GROUP BY whose, job, outcome, overwrote)"
)


class Events(ArchiveFile):
    """The archive's methods for the record of jobs."""

    @contextmanager
    def event(
        self,
        job: str,
        *,
        board_uuid: str | None = None,
        program: str = "",
        detail: Mapping[str, Any] | None = None,
    ) -> Iterator[OpenEvent]:
        """Record a job: its beginning before the block, its end after it.

        The outcome is the one that the block set ("done" by default). If an error leaves the block,
        it is "refused", "interrupted" or "failed", with the message in the detail. The error is
        raised again; if the end cannot be recorded, its message says that too.
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
        """Record that a job began and return the UUID of the event.

        program: a name; if the archive does not have it, it is kept in the detail.
        """
        noted = dict(detail or {})
        with self.writing(f"The record of this {job}") as db:
            held = known_program(db, program)
            if program and held is None:
                noted.setdefault("program", program)
            uuid = new_uuid()
            insert(
                db,
                "events",
                uuid=uuid,
                job=clean(job),
                board_id=None if board_uuid is None else board_id(db, board_uuid),
                program_id=held,
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
        """Record how a job ended. detail: added to the detail of its beginning.

        Raises ArchiveError if there is no such event or it has already ended.
        """
        with self.writing("The end of this job") as db:
            held = found_by(db, "events", "uuid", uuid)
            if held is None or held["ended_at"] is not None:
                state = "is not in the archive" if held is None else "has ended already"
                raise ArchiveError(f"The event {uuid} {state}.")
            update(
                db,
                "events",
                held["id"],
                ended_at=self._time(),
                outcome=clean(outcome),
                detail=_as_json({**json.loads(held["detail"]), **(detail or {})}),
                revision_id=_row_id(db, "revisions", revision),
                rescue_id=_row_id(db, "rescues", rescue),
            )

    def events(
        self,
        limit: int | None = None,
        *,
        board_uuid: str | None = None,
        program: str | None = None,
        job: str | None = None,
        of_learners: bool = False,
    ) -> Listed[JobEvent]:
        """Return events, newest first: all, or those of one board, program or kind of job.

        of_learners: only the newest for each learner, kind of job and outcome, those that overwrote
        a board apart from those that did not.
        """
        with self.reading("The events") as db:
            wanted: dict[str, object] = {}
            if board_uuid is not None:
                wanted["events.board_id = ?"] = board_id(db, board_uuid)
            if job is not None:
                wanted["events.job = ?"] = clean(job)
            if program is not None:
                of_program = "coalesce(programs.name_key, revision_program.name_key) = ?"
                wanted[of_program] = fold(clean(program))
            if of_learners:
                wanted[_NEWEST_OF_LEARNERS] = f"$.{LEARNER}"
            return _EVENTS.listed(
                db,
                f"WHERE {' AND '.join(wanted) or '1'} ORDER BY events.id DESC LIMIT ?",
                [*wanted.values(), -1 if limit is None else limit],
            )


def _outcome(error: BaseException) -> str:
    """Return the outcome of a job that this error ended."""
    if isinstance(error, Interrupted | KeyboardInterrupt):
        return "interrupted"
    return "refused" if isinstance(error, RefusedError) else "failed"


def _as_json(detail: Mapping[str, Any]) -> str:
    """Return the detail as JSON; values that JSON does not have become text."""
    try:
        text = json.dumps(detail, ensure_ascii=False, default=str, allow_nan=False, skipkeys=True)
    except ValueError:
        # Infinite numbers and loops have no JSON; a record must not stop a job for that.
        text = json.dumps({"detail": repr(detail)}, ensure_ascii=False)
    return clean(text)


def _row_id(db: Database, table: str, item: Revision | Rescue | None) -> int | None:
    if item is None:
        return None
    held = found_by(db, table, "uuid", item.uuid)
    if held is None:
        raise not_in_archive(item.spec)
    return int(held["id"])


def _event(parts: Parts, lost: list[str]) -> JobEvent:
    row = parts["events"]
    board, rescue = parts.get("boards", lost), parts.get("rescue", lost)
    archive = parts.get("rescue_archive", lost)
    name = owner_name(parts, "programs", lost)
    revision = revision_spec(parts, "revision", lost)
    return JobEvent(
        uuid=row["uuid"],
        job=row["job"],
        board_uuid=None if board is None else board["uuid"],
        board="" if board is None else board["label"],
        program=name or revision.rpartition("@")[0],
        revision=revision,
        rescue=""
        if not (rescue and archive)
        else numbered_spec("rescue", rescue["number"], archive),
        started_at=parse_utc(row["started_at"]),
        ended_at=parse_utc_or_none(row["ended_at"]),
        outcome=row["outcome"],
        detail=json.loads(row["detail"]),
    )


_EVENTS = Records(
    (
        Part("events", "events"),
        Part("boards", "boards", "boards.id = events.board_id"),
        Part("programs", "programs", "programs.id = events.program_id"),
        *revision_parts("revision", "events.revision_id"),
        Part("rescue", "rescues", "rescue.id = events.rescue_id"),
        Part("rescue_archive", "archives", "rescue_archive.id = rescue.archive_id"),
    ),
    _event,
    lambda shown: f"The event of {shown['events.started_at']} ({shown['events.job']})",
)
