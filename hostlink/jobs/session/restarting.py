"""Restarting a board on purpose, after its program was kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hostlink.archive import Archive, Board
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.errors import (
    Interrupted,
    LinkError,
    LinkReason,
    NotKnownError,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.session.job import recorded_job
from hostlink.jobs.session.patience import capture_s
from hostlink.jobs.session.rescuing import READING, HeldProgram, held_content, rescue_or_discard
from hostlink.jobs.session.session import Session
from hostlink.link.attaching import RESTART_PULSE_S
from hostlink.link.regain import FoundState
from hostlink.sentences import (
    NO_RESTART_LINE,
    NOT_RESTARTED,
    PORT_NOT_OPENED,
    PRESS_RESTART,
    RESTARTED,
    UNTOUCHED,
    held_before,
)
from hostlink.words import capital

RESTARTING = "Restarting the board"
"""The phase that begins when what the board holds has been kept or discarded."""


@dataclass(frozen=True, slots=True)
class Restarted:
    """A restart that was noticed.

    held: the program before it. at_prompt: False if the board started a program by itself. lines:
    how many lines it holds now.
    """

    held: HeldProgram
    at_prompt: bool
    lines: int


def check_restartable(port: str) -> None:
    """Raise RefusedError for a port without a restart line; this needs no board."""
    if port.startswith("socket://"):
        raise RefusedError(
            f"{capital(NO_RESTART_LINE)}.",
            kept=PORT_NOT_OPENED,
            advice=f"{PRESS_RESTART}, or reach it by rfc2217://.",
        )


def restart(
    session: Session,
    archive: Archive,
    *,
    consent: Callable[[HeldProgram], bool],
    discard_board: bool = False,
) -> Restarted:
    """Restart the board and wait, without sending anything, for its banner or prompt.

    consent: called with the captured program before the restart. discard_board: do not capture, for
    a board that does not come to its prompt. Raises RefusedError without consent, LinkError if
    there is no sign of a restart; the program in memory may be lost then too.
    """
    check_restartable(session.choice.port)
    if not discard_board:
        session.attach()
    board = session.board_in(archive)
    with recorded_job(session, archive, "restart", board) as record:
        held = rescue_or_discard(
            session, archive, board, record, discard=discard_board, at_prompt=False
        )
        record.detail["held"] = held.spec
        if not consent(held):
            raise RefusedError(f"{capital(NOT_RESTARTED)}.", kept=UNTOUCHED)
        session.emit(Phase(RESTARTING))
        kept = held_before(held.spec) if held.spec else ""
        try:
            if not pulse(session):
                raise LinkError(
                    "There is no sign of a restart: neither banner nor prompt came.",
                    reason=LinkReason.SILENT,
                    kept=kept,
                    advice="Its restart line may not be wired to the bridge: press its own button.",
                )
            return _after(session, archive, board, held)
        except Interrupted as error:
            lost = f"{RESTARTED} Its memory was lost. {kept}".strip()
            raise error.but(kept=lost) from error


def pulse(session: Session) -> bool:
    """Switch DTR off and on, then listen; return whether the board was heard starting."""
    pull_restart_line(session)
    return session.dialogue.listen_waking()


def pull_restart_line(session: Session) -> None:
    """Switch DTR off and on, and discard the bytes received before."""
    session.restarts.caused()
    port = session.wire.port
    port.dtr = False
    session.wire.clock.sleep(RESTART_PULSE_S)
    port.reset_input_buffer()
    port.dtr = True


def _after(session: Session, archive: Archive, board: Board, held: HeldProgram) -> Restarted:
    """Find out what the board does and holds after the restart."""
    session.restarts.tell_all()
    session.dialogue.restarted()  # intended, so later jobs must not report it
    if session.dialogue.regain(may_interrupt=False).found is not FoundState.PROMPT:
        session.emit(Warned("The board started a program by itself; it was left alone."))
        return Restarted(held, False, 0)
    session.emit(Phase(f"{READING} now", capture_s(session.profile)))
    try:
        now = session.dialogue.capture()
    except (NotKnownError, ReadBackError) as error:
        kept = f" {held_before(held.spec)}" if held.spec else ""
        raise error.but(kept=f"{RESTARTED}{kept}") from error
    content = held_content(session, now)
    archive.set_host_copy(board.uuid, content, proven=now.is_proven)
    if now.doubt is not None:
        session.emit(Warned(f"What it lists now is not proven: {now.doubt}."))
    return Restarted(held, True, len(now.lines))
