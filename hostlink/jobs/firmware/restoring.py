"""Restoring a board after a firmware write: hear the firmware start, put the programs back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hostlink.advice import Advice, Ways, join_advice
from hostlink.archive import Archive, Backup
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.errors import (
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.backup import banner_heard
from hostlink.jobs.firmware.request import AfterWriteError, Written
from hostlink.jobs.putback import MisfitError, putback
from hostlink.jobs.session.rescuing import NOTHING
from hostlink.jobs.session.restarting import pulse
from hostlink.jobs.session.session import Session
from hostlink.link.regain import FoundState
from hostlink.sentences import PLUG_IN_AGAIN, go_back, programs_kept
from hostlink.words import capital

# Advice by whether there is an image to go back to, and whether a program may be in memory.
_WAYS_OUT: dict[tuple[bool, bool], Callable[[Ways], str]] = {
    (True, False): lambda by: capital(go_back(by)),
    (True, True): lambda by: capital(go_back(by, by.write_previous_discarding)),
    (False, False): lambda by: f"Write another image {by.write_image}",
    (False, True): lambda by: f"Write another image {by.write_image_discarding}",
}


@dataclass(frozen=True, slots=True)
class Start:
    """The start of the firmware as received. banner: "" if none came.

    found: the result of looking for a prompt; None if none is expected.
    """

    banner: str = ""
    found: FoundState | None = None

    @property
    def answered(self) -> bool:
        """Return whether the board came to its prompt."""
        return self.found is FoundState.PROMPT


def hear_start(session: Session, *, has_prompt: bool) -> Start:
    """Wait for the firmware to start; return its banner and whether it came to its prompt.

    has_prompt: whether a prompt is expected; a display board has none and gets no question.
    """
    session.emit(Phase("Waiting for the firmware to start"))
    session.wire.recent = b""
    session.dialogue.listen_waking()
    banner = banner_heard(session)
    if not has_prompt:
        return Start(banner)
    if session.profile.talk.banner and not banner:
        pulse(session)  # its first bytes may have come before the speed was restored
        banner = banner_heard(session)
    is_unknown = session.choice.is_guess  # it never showed a prompt that could be looked for
    found = FoundState.PROMPT
    if not (is_unknown and _talks_otherwise(session)):
        found = session.dialogue.regain(may_interrupt=True).found
        if found is not FoundState.PROMPT and not is_unknown and _talks_otherwise(session):
            found = FoundState.PROMPT
    session.dialogue.restarted()  # intended, so that the next load must not report it
    session.restarts.settle()
    return Start(banner, found)


def _talks_otherwise(session: Session) -> bool:
    """Return whether the new firmware is of another kind, whose profile is used from now on."""
    try:
        with session.may_stop():
            session.attach(again=True)
    except LinkError as error:
        if error.reason is LinkReason.GONE:
            raise
        return False
    return True


def restore(session: Session, archive: Archive, backup: Backup) -> None:
    """Put the programs of the board back, proven; try again once after a failure of the wire.

    Raises the errors of `putback`; MisfitError only after all items that fit were put back.
    """
    try:
        _put_back(session, archive, backup)
    except (LinkError, ReadBackError) as error:
        if is_cut_off(error) or (
            isinstance(error, LinkError) and error.reason is LinkReason.TOO_LONG
        ):
            raise
        session.emit(Warned(f"{error.what} Putting the programs back once more."))
        session.dialogue.regain(may_interrupt=True)
        _put_back(session, archive, backup)


def _put_back(session: Session, archive: Archive, backup: Backup) -> None:
    """Put back what fits. The program with which the firmware starts need not be kept."""
    try:
        session.dialogue.clear()
    except RefusedError as refused:
        raise refused.but(kept="") from refused  # the program there is not the user's
    try:
        putback(session, archive, backup, held=NOTHING)
    except MisfitError as misfit:
        kept = ""
        if misfit.fitting:
            putback(session, archive, backup, misfit.fitting, held=NOTHING)
            kept = f"All the rest is on the board again: {', '.join(misfit.fitting)}."
        raise misfit.but(kept=kept) from misfit


def is_cut_off(cause: HostlinkError | None) -> bool:
    """Return whether work was stopped or unplugged, so that the same command can continue it."""
    gone = isinstance(cause, LinkError) and cause.reason is LinkReason.GONE
    return gone or isinstance(cause, Interrupted)


def after_write_error(
    written: Written, start: Start, cause: HostlinkError | None, profile: str, *, can_go_back: bool
) -> HostlinkError:
    """Return the error for a board with a proven image that has a problem afterwards.

    cause: what went wrong, None if it only shows no prompt. can_go_back: whether there is an image
    to go back to.
    """
    name = written.image.name or "the image"
    kept = [programs_kept(written.backup)] if written.backup else []
    if cause is not None:
        kept.append(cause.kept)
    said = " ".join(part for part in kept if part)
    if cause is None:
        advice = _way_out(written, start, can_go_back=can_go_back)
    else:
        advice = _programs_back(written, start, cause, can_go_back=can_go_back)
    if isinstance(cause, Interrupted):
        what = f"Stopped after {name} was written and read back."
        return cause.but(what=what, kept=said, advice=advice)
    if cause is None:
        silent = start.found is FoundState.SILENT
        trouble = "is silent" if silent else f"does not come to the prompt of profile {profile}"
        trouble = f"the board {trouble}"
    elif written.backup and not written.restored:
        trouble = f"its programs were not put back: {cause.what.rstrip('.')}"
    else:
        trouble = f"then something went wrong: {cause.what.rstrip('.')}"
    what = f"{name} is on the board, every page read back, but {trouble}."
    return AfterWriteError(what, written, kept=said, advice=advice)


def _way_out(written: Written, start: Start, *, can_go_back: bool) -> Advice:
    """Return advice for a board that does not come to its prompt."""
    spec = written.backup
    them = ", which puts the programs back too" if spec else ""
    # A board that answers may have got a program from its own keyboard.
    out = _WAYS_OUT[can_go_back, start.found in (FoundState.STUCK, FoundState.RUNNING)]

    def advice(by: Ways) -> str:
        talks = f"If the new firmware is of another kind, name its profile {by.name_profile}"
        if spec:
            talks += f", and put the programs back {by.put_back_by_profile(spec)}"
        return f"{out(by)}{them}. {talks}."

    return advice


def _programs_back(
    written: Written, start: Start, cause: HostlinkError, *, can_go_back: bool
) -> Advice:
    """Return advice for getting the programs back on the board after an error."""
    spec = written.backup
    if is_cut_off(cause):
        first = "Do the same again" if isinstance(cause, Interrupted) else PLUG_IN_AGAIN
        again = f"{first}; hostlink finds the image there"
        if not spec or written.role == "display":
            return f"{again}."
        if not start.answered:
            return f"{again} and puts the programs back."
        return lambda by: (
            f"{again} and puts the programs back. Or only put them back {by.put_back(spec)}."
        )
    if not spec or written.restored:
        return cause.advice
    # If the sizes differ from the profile, the board does not show that it is empty.
    out = _WAYS_OUT[True, isinstance(cause, MisfitError)]
    back: Advice = (lambda by: f"{out(by)}, which puts them back too.") if can_go_back else ""
    if isinstance(cause, MisfitError):
        return join_advice(lambda by: f"Put them on a larger board {by.put_back(spec)}.", back)
    if isinstance(cause, RefusedError) and cause.advice:
        return join_advice(cause.advice, back)
    return join_advice(lambda by: f"Try again {by.put_back(spec)}.", back)
