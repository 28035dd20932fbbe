"""Looking for the prompt of a board that may have none, for a short time."""

from __future__ import annotations

from hostlink.board.dialogue.no_prompt_errors import nothing_steady, silent_everywhere
from hostlink.errors import LinkError, LinkReason
from hostlink.jobs.session.patience import TELL_OFTEN_S
from hostlink.jobs.session.session import Session


def look_for_prompt(session: Session, limit_s: float, *, again: bool) -> None:
    """Bring a board to its prompt within some seconds; often report what it is waiting for.

    again: as for `Session.attach`. Raises the errors of `Session.attach`; when the time is over,
    the error is that of a silent board, or of an unreadable one if any byte came.
    """
    before = session.wire.health.bytes_in
    now = session.wire.now
    try:
        with session.patience.limited(limit_s, now, tell_every_s=TELL_OFTEN_S):
            session.attach(again=again)
    except LinkError as error:
        if error.reason is not LinkReason.TOO_LONG:
            raise
        if session.wire.health.bytes_in == before:
            raise silent_everywhere() from error
        raise nothing_steady(session.wire.recent[-40:]) from error
