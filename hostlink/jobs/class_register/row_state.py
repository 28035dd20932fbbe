"""What became of a handout to a learner, as a pure function of what is recorded."""

from __future__ import annotations

from enum import Enum

from hostlink.archive.records import LEARNER, JobEvent
from hostlink.words import fold


class Handout(Enum):
    """What became of the last handout that overwrote a learner's board."""

    NOTHING = "no handout was begun"
    THERE = "proven, and every later load into the learner's board was complete"
    ELSEWHERE = "proven, but on another board, or replaced by another learner's handout"
    BROKEN = "not proven: cut off, stopped or not ended"
    OVERWRITTEN = "proven, then overwritten by another load, which is not proven"


def handout_of(program: str, load: JobEvent | None, fill: JobEvent | None) -> Handout:
    """Return what became of a learner's handout.

    program: the name of their work. load: the last handout to them that overwrote a board. fill:
    the last job that put anything into their present board. Either is None if there was none.
    """
    if load is None:
        return Handout.NOTHING
    if load.outcome != "done":
        return Handout.BROKEN
    if fill is None or fill.started_at < load.started_at:
        return Handout.ELSEWHERE
    if fold(str(fill.detail.get(LEARNER, program))) != fold(program):
        return Handout.ELSEWHERE
    if fill.job == "load" and fill.outcome != "done":
        return Handout.OVERWRITTEN
    return Handout.THERE
