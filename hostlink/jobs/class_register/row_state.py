"""The states of a learner's row in the table of a class, as a pure function of what is recorded."""

from __future__ import annotations

from datetime import datetime
from enum import Enum

from hostlink.archive.records import LEARNER, JobEvent
from hostlink.words import fold


class Handout(Enum):
    """What became of the last handout that overwrote a learner's board."""

    NOTHING = "no handout was begun"
    THERE = "proven, and only whole programs came into the learner's board since"
    ELSEWHERE = "proven, on a board that another learner's handout is on, or not on this one"
    BROKEN = "not proven: cut off, stopped or not ended"
    OVERWRITTEN = "proven, then overwritten by another load, which is not proven"


class LastSave(Enum):
    """When the learner's work was last saved."""

    NEVER = "never"
    BEFORE = "before the handout"
    SINCE = "since the handout, or without one"


class Measured(Enum):
    """The program that is measured and compared with the handout."""

    COMING = "what is to be handed out"
    ON_BOARD = "what the board is known to hold"
    SAVED = "what was saved"
    NOTHING = "none, since nobody knows what they have made of the handout"


MEASURED = {
    (Handout.NOTHING, LastSave.NEVER): Measured.COMING,
    (Handout.NOTHING, LastSave.SINCE): Measured.SAVED,
    (Handout.THERE, LastSave.NEVER): Measured.ON_BOARD,
    (Handout.THERE, LastSave.BEFORE): Measured.ON_BOARD,
    (Handout.THERE, LastSave.SINCE): Measured.ON_BOARD,
    (Handout.ELSEWHERE, LastSave.NEVER): Measured.NOTHING,
    (Handout.ELSEWHERE, LastSave.BEFORE): Measured.NOTHING,
    (Handout.ELSEWHERE, LastSave.SINCE): Measured.SAVED,
    (Handout.BROKEN, LastSave.NEVER): Measured.NOTHING,
    (Handout.BROKEN, LastSave.BEFORE): Measured.NOTHING,
    (Handout.BROKEN, LastSave.SINCE): Measured.SAVED,
    (Handout.OVERWRITTEN, LastSave.NEVER): Measured.NOTHING,
    (Handout.OVERWRITTEN, LastSave.BEFORE): Measured.NOTHING,
    (Handout.OVERWRITTEN, LastSave.SINCE): Measured.SAVED,
}
"""Which program is measured in each state."""


def row_state(
    program: str, load: JobEvent | None, fill: JobEvent | None, saved_at: datetime | None
) -> tuple[Handout, LastSave]:
    """Return the state of a learner's row, a key of MEASURED.

    program: that of their work. load: the last handout to them that overwrote a board. fill: the
    last job that put anything into the board that they have now. saved_at: when their work was
    last saved. None where there is no such thing.
    """
    since = load is None or (saved_at is not None and saved_at >= load.started_at)
    kept = LastSave.NEVER if saved_at is None else LastSave.SINCE if since else LastSave.BEFORE
    if load is None:
        return Handout.NOTHING, kept
    if load.outcome != "done":
        return Handout.BROKEN, kept
    if fill is None or fill.started_at < load.started_at:
        return Handout.ELSEWHERE, kept
    if fold(str(fill.detail.get(LEARNER, program))) != fold(program):
        return Handout.ELSEWHERE, kept
    if fill.job == "load" and fill.outcome != "done":
        return Handout.OVERWRITTEN, kept
    return Handout.THERE, kept
