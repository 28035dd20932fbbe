"""The states of a learner's row: which facts lead to each, and which program it measures."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from hostlink.archive.records import LEARNER, JobEvent
from hostlink.jobs.class_register.row_state import Handout, handout_of


def at(hour: int) -> datetime:
    return datetime(2031, 9, 3, hour, tzinfo=UTC)


def filled(hour: int, outcome: str = "done", *, whose: str = "", job: str = "load") -> JobEvent:
    """A job that put something into a board. whose: the learner it was handed out to."""
    detail = {LEARNER: whose} if whose else {}
    return JobEvent(
        f"{hour}{outcome}",
        job,
        "red",
        "Red",
        "LAMP",
        "LAMP@1",
        "",
        at(hour),
        at(hour),
        outcome,
        detail,
    )


ADA = filled(18, whose="ada")
CUT = filled(18, "failed", whose="ADA")
GIVEN = {
    "nothing handed out": (None, None, Handout.NOTHING),
    "nothing handed out, a load of somebody's": (None, filled(19), Handout.NOTHING),
    "the handout is there": (ADA, ADA, Handout.THERE),
    "and a whole program was loaded since": (ADA, filled(19), Handout.THERE),
    "and a backup was put back since": (ADA, filled(19, "failed", job="putback"), Handout.THERE),
    "and a load was cut off since": (ADA, filled(19, "failed"), Handout.OVERWRITTEN),
    "the board is Ben's since": (ADA, filled(19, whose="BEN"), Handout.ELSEWHERE),
    "on another board; this one was filled before": (ADA, filled(17), Handout.ELSEWHERE),
    "no board is known": (ADA, None, Handout.ELSEWHERE),
    "the handout was cut off": (CUT, CUT, Handout.BROKEN),
    "it was cut off on another board": (CUT, None, Handout.BROKEN),
    "it has not ended": (filled(18, "", whose="ADA"), None, Handout.BROKEN),
}


@pytest.mark.parametrize("facts", GIVEN)
def test_facts_lead_to_one_state(facts: str) -> None:
    """Of the handout, by what was loaded and what came into the learner's board."""
    load, fill, given = GIVEN[facts]
    assert handout_of("ADA", load, fill) is given


def test_each_state_comes_about() -> None:
    """None stands for facts that cannot be."""
    assert {given for _, _, given in GIVEN.values()} == set(Handout)
