"""After firmware was written: it is heard starting, and the programs go back on the board."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.archive import Archive, Backup
from hostlink.board.events import Phase, Warned
from hostlink.errors import (
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.backup import banner_heard
from hostlink.jobs.firmware_request import AfterWriteError, Written
from hostlink.jobs.putback import MisfitError, putback
from hostlink.jobs.rescuing import NOTHING
from hostlink.jobs.restarting import pulse
from hostlink.jobs.session import Session
from hostlink.link.regain import Found

# Whether there is an image to go back to, and whether a program may be in memory: what to do.
_WAYS_OUT = {
    (True, False): "`hostlink firmware write --previous` goes back to the one before",
    (True, True): "`hostlink firmware write --previous --discard-board` goes back to the one "
    "before",
    (False, False): "`hostlink firmware write IMAGE` writes another image",
    (False, True): "`hostlink firmware write IMAGE --discard-board` writes another image",
}


@dataclass(frozen=True, slots=True)
class Start:
    """How the firmware was heard starting. banner: what it said of itself, "" if nothing.

    found: what came where a prompt was looked for; None where none is expected.
    """

    banner: str = ""
    found: Found | None = None

    @property
    def answered(self) -> bool:
        """Whether it came to its prompt."""
        return self.found is Found.PROMPT


def hear_start(session: Session, *, has_prompt: bool) -> Start:
    """Wait for the firmware to start: its banner, and whether it came to its prompt.

    has_prompt: whether one is expected; a display shows none and is not asked.
    """
    session.emit(Phase("Waiting for the firmware to start"))
    session.wire.recent = b""
    session.dialogue.listen_waking()
    banner = banner_heard(session)
    if not has_prompt:
        return Start(banner)
    if session.profile.talk.banner and not banner:
        pulse(session)  # its first bytes may have come before the speed was set back
        banner = banner_heard(session)
    found = session.dialogue.regain(may_interrupt=True).found
    if found is not Found.PROMPT and _talks_otherwise(session):
        found = Found.PROMPT
    session.dialogue.restarted()  # this one is no surprise to what is loaded next
    session.memory_is_known()
    return Start(banner, found)


def _talks_otherwise(session: Session) -> bool:
    """Whether the new firmware has a prompt of another kind; it is talked to so from now on."""
    try:
        with session.may_stop():
            session.attach(again=True)
    except LinkError as error:
        if error.reason is LinkReason.GONE:
            raise
        return False
    return True


def restore(session: Session, archive: Archive, backup: Backup) -> None:
    """Put the programs back that the board held, proven; a second time where the wire failed once.

    Raises what `putback` raises; MisfitError when all that has room is on the board again.
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
    """Put back what has room. Memory holds what the firmware began with, which needs no keeping."""
    try:
        session.dialogue.clear()
    except RefusedError as refused:
        refused.kept = ""  # the program that is there is not the user's
        raise
    try:
        putback(session, archive, backup, held=NOTHING)
    except MisfitError as misfit:
        misfit.kept = ""
        if misfit.fitting:
            putback(session, archive, backup, misfit.fitting, held=NOTHING)
            misfit.kept = f"All the rest is on the board again: {', '.join(misfit.fitting)}."
        raise


def is_cut_off(cause: HostlinkError | None) -> bool:
    """Whether work was stopped or unplugged, so that the same command can go on with it."""
    gone = isinstance(cause, LinkError) and cause.reason is LinkReason.GONE
    return gone or isinstance(cause, Interrupted)


def after_write_error(
    written: Written,
    start: Start,
    cause: HostlinkError | None,
    profile: str,
    *,
    can_go_back: bool,
) -> HostlinkError:
    """What to raise where an image is on the board and not all is well with the board.

    cause: what went wrong afterwards, None where it only shows no prompt. can_go_back: whether
    there is an image to go back to.
    """
    name = written.image.name or "the image"
    kept = [f"Its programs are kept as {written.backup}."] if written.backup else []
    if cause is not None:
        kept.append(cause.kept)
    said = " ".join(part for part in kept if part)
    if cause is None:
        advice = _way_out(written, start, can_go_back=can_go_back)
    else:
        advice = _programs_back(written, start, cause, can_go_back=can_go_back)
    if isinstance(cause, Interrupted):
        cause.what = f"Stopped after {name} was written and read back."
        cause.kept, cause.advice = said, advice
        return cause
    if cause is None:
        silent = start.found is Found.SILENT
        trouble = "is silent" if silent else f"does not come to the prompt of profile {profile}"
        trouble = f"the board {trouble}"
    elif written.backup and not written.restored:
        trouble = f"its programs were not put back: {cause.what.rstrip('.')}"
    else:
        trouble = f"then something went wrong: {cause.what.rstrip('.')}"
    what = f"{name} is on the board, every page read back, but {trouble}."
    return AfterWriteError(what, written, kept=said, advice=advice)


def _way_out(written: Written, start: Start, *, can_go_back: bool) -> str:
    """What to do with a board that does not come to its prompt."""
    them = " and puts the programs back" if written.backup else ""
    # What talks may have taken in a program from the board's own keyboard.
    out = _WAYS_OUT[can_go_back, start.found in (Found.STUCK, Found.RUNNING)]
    talks = "If the new one talks in another way, name its --profile or --baud"
    if written.backup:
        talks += f": `hostlink putback {written.backup} --profile NAME` puts them back"
    return f"{out}{them}. {talks}."


def _programs_back(
    written: Written, start: Start, cause: HostlinkError, *, can_go_back: bool
) -> str:
    """How the programs get on the board after this went wrong."""
    spec = written.backup
    if is_cut_off(cause):
        first = "Repeat" if isinstance(cause, Interrupted) else "Plug the board in again and repeat"
        again = f"{first} the command, which finds the image there"
        if not spec or written.role == "display":
            return f"{again}."
        if not start.answered:
            return f"{again} and puts the programs back."
        return f"{again}; or `hostlink putback {spec}`: both put the programs back."
    if not spec or written.restored:
        return cause.advice
    # A board with other sizes than its profile says does not show that it holds nothing.
    out = _WAYS_OUT[True, isinstance(cause, MisfitError)]
    back = f" {out} and puts them back." if can_go_back else ""
    if isinstance(cause, MisfitError):
        return f"`hostlink putback {spec}` puts them on a board with more room.{back}"
    if isinstance(cause, RefusedError) and cause.advice:
        return f"{cause.advice}{back}"
    return f"`hostlink putback {spec}` tries again.{back}"
