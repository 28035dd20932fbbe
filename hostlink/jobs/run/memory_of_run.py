"""Keeping the program in memory before a run, which may clear or replace it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.reading import Reading
from hostlink.errors import ArchiveError, Interrupted, NotKnownError, ReadBackError
from hostlink.jobs.pasting import may_overwrite
from hostlink.jobs.session.rescuing import (
    NOTHING,
    HeldProgram,
    forget_copy,
    held_content,
    rescue_held,
)
from hostlink.jobs.session.session import Session
from hostlink.jobs.stored_programs import same_program
from hostlink.listing import Line
from hostlink.sentences import STILL_IN_MEMORY, held_before

_INPUT = "INPUT"


@dataclass(frozen=True, slots=True)
class Before:
    """The program in memory before a run.

    lines: read once, or captured if the program may be lost. spec: in that case, the revision or
    rescue that keeps it. restarts: the number seen until then.
    """

    lines: Mapping[int, Line]
    spec: str
    restarts: int


def keep_before_run(session: Session, *, answered: bool = False) -> Before:
    """Read the program once, and make sure that the archive has it if the run may lose it.

    A program may clear memory if a row contains a word such as NEW. answered: the questions of the
    program are answered; an answer that it does not read may be stored as a line.
    Raises the errors of rescue_held for a program that may clear memory, and LinkError if the board
    does not list its program; nothing was run then.
    """
    held = NOTHING
    try:
        reading = session.dialogue.read_listing()
        clears = any(may_overwrite(text, session.profile) for text in _texts(reading))
        if clears or (answered and any(_INPUT in text.upper() for text in _texts(reading))):
            held = _kept(session, reading, must=clears)
    except Interrupted as error:
        raise error.but(what="Stopped before the program was run.", kept=STILL_IN_MEMORY) from error
    return Before(held.lines or reading.lines, held.spec, session.restarts.seen)


def _texts(reading: Reading) -> list[str]:
    return [Line.from_text(row).text for row in reading.rows]


def _kept(session: Session, reading: Reading, *, must: bool) -> HeldProgram:
    """Make sure that the archive has a program; one reading is enough if it has just that already.

    must: raise an error that prevents keeping it; otherwise only warn.
    """
    archive = session.archive
    if archive is None:
        return NOTHING
    known = archive.holds(held_content(session, Capture(reading.lines, 1)))
    if known and not reading.unexplained:
        return HeldProgram(reading.lines, 1, known[0].spec)
    try:
        return rescue_held(session, archive, session.board_in(archive))
    except (NotKnownError, ReadBackError, ArchiveError) as error:
        if must:
            raise
        session.emit(Warned(f"The program will run, but could not be kept first: {error.what}"))
        return NOTHING


def changed_by_run(session: Session, before: Before) -> str | None:
    """Return the sentence on what became of the program; "" if unchanged, None if unknown.

    The host copy is updated. Raises LinkError if the board does not answer.
    """
    if same_program(session, session.dialogue.read_listing().lines, before.lines):
        return ""
    try:
        result = session.dialogue.capture()
    except (NotKnownError, ReadBackError):
        return None
    if same_program(session, result.lines, before.lines):
        return ""
    if result.lines and not before.spec:
        return None  # the single reading before may have been damaged on the wire
    if session.archive is not None and not session.archive.read_only:
        board = session.board_in(session.archive)
        forget_copy(session.archive, board, held_content(session, result))
    now = "holds another program" if result.lines else "is empty"
    why = "The board's"
    if session.restarts.seen > before.restarts:
        why = "The board restarted: its"
    kept = f" {held_before(before.spec)}" if before.spec else ""
    return f"{why} memory {now} now.{kept}"
