"""One job on a session: recorded in the archive, limited in time, ended in order when stopped."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

from hostlink.archive import Archive, Board
from hostlink.archive.database.database_errors import make_writable
from hostlink.archive.events import OpenEvent
from hostlink.archive.records import LEARNER
from hostlink.errors import ArchiveError, Interrupted
from hostlink.jobs.session.patience import TELL_EVERY_S, time_limit_s
from hostlink.jobs.session.session import Session
from hostlink.link.wire import STOPPED
from hostlink.sentences import BOARD_UNCHANGED


@contextlib.contextmanager
def recorded_job(
    session: Session,
    archive: Archive,
    name: str,
    board: Board,
    *,
    parts: int = 1,
    program: str = "",
    detail: dict[str, Any] | None = None,
    tell_every_s: float = TELL_EVERY_S,
) -> Iterator[OpenEvent]:
    """Record the job done inside the block as an event of the archive, and limit its time.

    parts: how many programs it may read or write. tell_every_s: as in Patience.limited. Raises
    ArchiveError if the archive is read-only, and LinkError past the limit, with a minute left to
    leave the board in order; an Interrupted says in what state the board was left.
    """
    if archive.read_only:
        raise ArchiveError(
            f"The {name} was not begun: the archive {archive.path} is read-only, so nothing can be "
            "kept.",
            kept=BOARD_UNCHANGED,
            advice=make_writable,
        )
    limit_s, now = parts * time_limit_s(session.profile), session.wire.now
    with (
        session.patience.limited(limit_s, now, tell_every_s=tell_every_s) as is_outermost,
        archive.event(name, board_uuid=board.uuid, program=program, detail=detail) as record,
    ):
        session.begun.add(record.uuid)
        try:
            yield record
        except Interrupted as error:
            if is_outermost:
                raise _stopped(session, error, name) from error
            raise


def for_learner(program: str) -> dict[str, str]:
    """Return the entry in the detail of a job for the learner for whom it is done.

    program: the name of their work, "" for nobody.
    """
    return {LEARNER: program} if program else {}


def _stopped(session: Session, error: Interrupted, job: str) -> Interrupted:
    """Return the error of a stopped job, with the state in which the board was left added.

    A job that changed something has said so itself; otherwise nothing was changed.
    """
    what = f"The {job} was stopped." if error.what == STOPPED else error.what
    if not error.kept:
        session.abandon()
    return error.but(what=what, kept=error.kept or BOARD_UNCHANGED)
