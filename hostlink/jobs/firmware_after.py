"""After firmware was written: it is heard starting, and the programs go back on the board."""

from __future__ import annotations

from hostlink.archive import Archive, Backup
from hostlink.board.events import Phase, Warned
from hostlink.errors import HostlinkError, Interrupted
from hostlink.jobs.backup import banner_heard
from hostlink.jobs.putback import putback
from hostlink.jobs.rescuing import Held
from hostlink.jobs.restarting import pulse
from hostlink.jobs.session import Session
from hostlink.link.regain import Found


def hear_start(session: Session, *, has_prompt: bool) -> tuple[str, bool]:
    """Wait for the firmware to start: its banner, and whether it came to its prompt.

    has_prompt: whether one is expected; a display shows none and is not asked.
    """
    session.emit(Phase("Waiting for the firmware to start"))
    session.wire.recent = b""
    session.dialogue.listen_waking()
    banner = banner_heard(session)
    if not has_prompt:
        return banner, False
    if session.profile.talk.banner and not banner:
        pulse(session)  # its first bytes may have come before the speed was set back
        banner = banner_heard(session)
    answered = session.dialogue.regain(may_interrupt=True).found is Found.PROMPT
    session.dialogue.restarted()  # this one is no surprise to what is loaded next
    session.memory_is_known()
    if not answered:
        session.emit(
            Warned(
                f"The board does not come to the prompt of profile {session.profile.name}. Its "
                "firmware may talk in another way: try another --profile or --baud; `hostlink "
                "firmware write --previous` goes back to the one before."
            )
        )
    return banner, answered


def restore(session: Session, archive: Archive, backup: Backup | None) -> bool:
    """Put the programs back that the board held; whether that worked."""
    if backup is None:
        return False
    try:
        now = session.dialogue.capture()
        held = None if now.lines else Held({}, now.count)
        putback(session, archive, backup, held=held)
    except Interrupted:
        raise
    except HostlinkError as error:
        session.emit(
            Warned(
                f"The programs were not put back: {error.what} They are kept as {backup.spec}; "
                f"`hostlink putback {backup.spec}` tries again."
            )
        )
        return False
    return True
