"""The states of a learner's row: which facts lead to each, and which program it measures."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from hostlink.archive.records import LEARNER, JobEvent
from hostlink.jobs.class_register.row_state import MEASURED, Given, LastSave, Measured, row_state


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
SAVED = {LastSave.NEVER: None, LastSave.BEFORE: at(17), LastSave.SINCE: at(20)}
GIVEN = {
    "nothing handed out": (None, None, Given.NOTHING),
    "nothing handed out, a load of somebody's": (None, filled(19), Given.NOTHING),
    "the handout is there": (ADA, ADA, Given.THERE),
    "and a whole program was loaded since": (ADA, filled(19), Given.THERE),
    "and a backup was put back since": (ADA, filled(19, "failed", job="putback"), Given.THERE),
    "and a load was cut off since": (ADA, filled(19, "failed"), Given.OVERWRITTEN),
    "the board is Ben's since": (ADA, filled(19, whose="BEN"), Given.ELSEWHERE),
    "on another board; this one was filled before": (ADA, filled(17), Given.ELSEWHERE),
    "no board is known": (ADA, None, Given.ELSEWHERE),
    "the handout was cut off": (CUT, CUT, Given.BROKEN),
    "it was cut off on another board": (CUT, None, Given.BROKEN),
    "it has not ended": (filled(18, "", whose="ADA"), None, Given.BROKEN),
}


@pytest.mark.parametrize("facts", GIVEN)
@pytest.mark.parametrize("kept", LastSave)
def test_facts_lead_to_one_state(facts: str, kept: LastSave) -> None:
    """Of the handout and of the saves independently; without a handout every save is since."""
    load, fill, given = GIVEN[facts]
    expected = LastSave.SINCE if load is None and kept is LastSave.BEFORE else kept
    state = row_state("ADA", load, fill, SAVED[kept])
    assert state == (given, expected)
    assert state in MEASURED


def test_each_state_comes_about() -> None:
    """No row of the table stands for facts that cannot be, but none was saved before nothing."""
    found = {
        row_state("ADA", *facts[:2], saved) for facts in GIVEN.values() for saved in SAVED.values()
    }
    assert found == set(MEASURED)


@pytest.mark.parametrize(
    ("given", "measured"),
    [
        (Given.NOTHING, {Measured.COMING, Measured.SAVED}),
        (Given.THERE, {Measured.ON_BOARD}),
        (Given.ELSEWHERE, {Measured.HANDOUT, Measured.SAVED}),
        (Given.BROKEN, {Measured.NOTHING, Measured.SAVED}),
        (Given.OVERWRITTEN, {Measured.NOTHING, Measured.SAVED}),
    ],
)
def test_a_handout_that_is_not_known_to_be_there_is_never_measured(
    given: Given, measured: set[Measured]
) -> None:
    """After a cut-off load only what was saved since is known; what is there is read from it."""
    assert {source for (one, _), source in MEASURED.items() if one is given} == measured
    assert all(
        source is Measured.SAVED
        for (one, kept), source in MEASURED.items()
        if kept is LastSave.SINCE and one is not Given.THERE
    )
