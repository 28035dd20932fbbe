"""The progress of a load, and what an error says about it if the load ends early."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.advice import join_advice
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    Interrupted,
    LinkError,
    NotKnownError,
    ReadBackError,
)
from hostlink.jobs.session.rescuing import NOTHING, HeldProgram
from hostlink.jobs.session.session import Session
from hostlink.sentences import (
    BOARD_UNCHANGED,
    PARTLY_THERE,
    UNTOUCHED,
    held_before,
    let_be_lost,
    when_link_is_back,
)
from hostlink.words import plural


@dataclass(slots=True)
class LoadState:
    """The progress of a load, for the error if it ends early.

    label: names the listing. spec: the revision that it was kept as, "" if none. held: what the
    board held before. touched: the board's memory was changed, or may have been. proven: it holds
    the new program. is_told: the error that ended the load already says what was kept.
    """

    label: str
    spec: str = ""
    held: HeldProgram = NOTHING
    touched: bool = False
    proven: bool = False
    is_told: bool = False


def with_load_state(session: Session, error: HostlinkError, state: LoadState) -> HostlinkError:
    """Return the error with what was kept and the state of the board added."""
    state.is_told = True
    if state.proven:
        return error.but(kept=f"{state.label} is on the board and proven. {error.kept}".strip())
    what, advice = error.what, error.advice
    if isinstance(error, Interrupted):
        session.abandon()
        what = f"Stopped before anything of {state.label} was sent."
        if state.touched:
            what = f"Stopped while loading {state.label}: {_how_far(*session.patience.lines_sent)}."
            advice = "Load again to complete it."
    elif isinstance(error, ReadBackError) and not state.touched:
        advice = join_advice(
            error.advice,
            lambda by: f"To overwrite what the board holds anyway, {let_be_lost(by)}.",
        )
    elif isinstance(error, LinkError):
        advice = advice or when_link_is_back("Load")
    return error.but(what=what, kept=_kept(session, error, state), advice=advice)


def _how_far(sent: int, lines: int) -> str:
    """Say how many lines were sent when the load was stopped."""
    if not sent:
        return f"no line is known to be stored; {PARTLY_THERE} at most"
    if sent < lines:
        stored = f"{sent:,} of {plural(lines, 'line')}"
        return f"at least {stored} are stored; {PARTLY_THERE}"
    return f"all {plural(lines, 'line')} are stored but not proven"


def _kept(session: Session, error: HostlinkError, state: LoadState) -> str:
    """Say what was not lost, and what the board holds."""
    says_more = isinstance(error, ArchiveError | NotKnownError)
    parts = [error.kept] if says_more and error.kept else []
    if not state.touched:
        if error.kept != BOARD_UNCHANGED and not isinstance(error, NotKnownError):
            parts.append(session.dialogue.evidence.unless_damaged(UNTOUCHED))
    elif isinstance(error, NotKnownError):
        parts.append(f"What the board holds of {state.label} is not known.")
    elif isinstance(error, LinkError | ArchiveError):
        parts.append(
            f"At most a part of {state.label} is on the board."
            if session.patience.lines_sent[0] > 0
            else f"No line of {state.label} is known to be stored; memory may be cleared."
        )
    if state.spec:
        parts.append(f"The listing is kept as {state.spec}.")
    if state.held.spec:
        parts.append(held_before(state.held.spec))
    return " ".join(parts)
