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
from hostlink.words import plural


@dataclass(slots=True)
class LoadState:
    """The progress of a load, for the error if it ends early.

    label: names the listing. spec: the revision that it was kept as, "" if none. held: what the
    board held before. touched: the board's memory was changed, or may have been. proven: it holds
    the new program. is_told: the error that ended the load already says all this.
    """

    label: str
    spec: str = ""
    held: HeldProgram = NOTHING
    touched: bool = False
    proven: bool = False
    is_told: bool = False


def with_state(session: Session, error: HostlinkError, state: LoadState) -> HostlinkError:
    """Return the error completed by what was kept and by the state of the board."""
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
            "Check the cable and the speed, then load again.",
            lambda by: f"If what the board holds may be lost, say so {by.discard_board}.",
        )
    elif isinstance(error, LinkError):
        advice = advice or "Load again when the link is back."
    return error.but(
        what=what,
        kept=_kept(error, state, any_sent=session.patience.lines_sent[0] > 0),
        advice=advice,
    )


def _how_far(sent: int, lines: int) -> str:
    """Say how many lines were sent when the load was stopped."""
    if not sent:
        return "no line is known to be stored; the board holds a part of it at most"
    if sent < lines:
        stored = f"{sent:,} of {plural(lines, 'line')}"
        return f"at least {stored} are stored; the board holds a part of it"
    return f"all {plural(lines, 'line')} are stored, and not proven"


def _kept(error: HostlinkError, state: LoadState, *, any_sent: bool) -> str:
    """Say what was not lost, and what the board holds."""
    says_more = isinstance(error, ArchiveError | NotKnownError)
    parts = [error.kept] if says_more and error.kept else []
    if not state.touched and not isinstance(error, NotKnownError):
        parts.append("The board's program was not touched.")
    elif isinstance(error, LinkError | ArchiveError):
        parts.append(
            f"The board holds a part of {state.label} at most."
            if any_sent
            else f"No line of {state.label} is known to be stored; memory may be cleared."
        )
    if state.spec:
        parts.append(f"The listing is kept as {state.spec}.")
    if state.held.spec:
        parts.append(f"What the board held before is kept as {state.held.spec}.")
    return " ".join(parts)
