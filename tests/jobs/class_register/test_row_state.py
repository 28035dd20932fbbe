"""The states of a learner's row: which facts lead to each, and which program it measures."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from hostlink.archive.records import LEARNER, JobEvent
from hostlink.jobs.class_register.row_state import MEASURED, Handout, LastSave, Measured, row_state


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
        (Handout.NOTHING, {Measured.COMING, Measured.SAVED}),
        (Handout.THERE, {Measured.ON_BOARD}),
        (Handout.ELSEWHERE, {Measured.NOTHING, Measured.SAVED}),
        (Handout.BROKEN, {Measured.NOTHING, Measured.SAVED}),
        (Handout.OVERWRITTEN, {Measured.NOTHING, Measured.SAVED}),
    ],
)
def test_a_handout_that_is_not_known_to_be_there_is_never_measured(
    given: Handout, measured: set[Measured]
) -> None:
    """After a cut-off load only what was saved since is known; what is there is read from it."""
    assert {source for (one, _), source in MEASURED.items() if one is given} == measured
    assert all(
        source is Measured.SAVED
        for (one, kept), source in MEASURED.items()
        if kept is LastSave.SINCE and one is not Handout.THERE
    )
