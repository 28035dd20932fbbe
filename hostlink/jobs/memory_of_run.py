"""What memory holds before a program is run, and after: a program may clear it, or fill it anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from hostlink.board.reading import Reading
from hostlink.errors import Interrupted, NotKnownError, ReadBackError
from hostlink.jobs.pasting import may_overwrite
from hostlink.jobs.recalling import same_program
from hostlink.jobs.rescuing import forget_copy, held_content, rescue_held
from hostlink.jobs.session import Session
from hostlink.listing import Line


@dataclass(frozen=True, slots=True)
class Before:
    """What memory held before a run.

    lines: as they were read once, or captured where the program may clear memory; then spec says
    how the archive keeps it. restarts: that were seen until then.
    """

    lines: Mapping[int, Line]
    spec: str
    restarts: int


def keep_before_run(session: Session) -> Before:
    """Read the program once, and see to it that the archive has it where it may clear memory.

    Words such as NEW are looked for in every row, a line or not. Raises as rescue_held does, and
    LinkError where the board does not list its program; nothing was run then.
    """
    archive, spec = session.archive, ""
    try:
        reading = session.dialogue.read_listing()
        lines = reading.lines
        if archive is not None and _may_clear(session, reading):
            held = rescue_held(session, archive, session.board_in(archive))
            lines, spec = held.lines, held.spec
    except Interrupted as error:
        raise error.but(
            what="Stopped before the program was run.", kept="It is still in the board's memory."
        ) from error
    return Before(lines, spec, session.wire.health.restarts)


def _may_clear(session: Session, reading: Reading) -> bool:
    texts = (Line.from_text(row).text for row in reading.rows)
    return any(may_overwrite(text, session.profile) for text in texts)


def changed_by_run(session: Session, before: Before) -> str | None:
    """What became of the program, in a sentence; "" where the board still lists it, None where it
    is not known.

    What the archive knows of memory is renewed. Raises LinkError where the board does not answer.
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
        return None  # what was read once, before, may have been damaged on the wire
    if session.archive is not None:
        board = session.board_in(session.archive)
        forget_copy(session.archive, board, held_content(session, result))
    now = "holds another program" if result.lines else "is empty"
    why = "The board restarted: its" if session.wire.health.restarts > before.restarts else "Its"
    kept = f" What it held before is kept as {before.spec}." if before.spec else ""
    return f"{why} memory {now} now.{kept}"
