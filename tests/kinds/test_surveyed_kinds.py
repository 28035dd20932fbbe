"""Every kind of board is surveyed and kept; the kept profile is used straight away."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.board.profile_file import find_profile, profile_text, read_profile
from hostlink.board.survey.steps import Consent
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.surveying import SurveyOptions, survey
from hostlink.practice.kind_file import kind_names

HELD = '10 REM another one\n20 PRINT "BUOY"\n30 LET B=7\n'
PROGRAM = '10 REM TIDE TABLE\n20 LET A=3\n30 PRINT "LAMP ";A\n40 IF A<2 GOTO 20\n50 PRINT A\n'


@pytest.mark.parametrize("kind", kind_names())
def test_what_a_survey_keeps_of_a_kind_loads_and_saves(
    bench: Callable[[str], Any], kind: str
) -> None:
    """Its program is put back by the survey; then another goes there and back, proven."""
    board = bench(kind)
    board.put(HELD)
    held = board.memory
    with board.session(unknown=True) as session:
        options = SurveyOptions(name="mine", consent=Consent(storing=True))
        found = survey(session, board.archive, options).profile
    assert board.memory == held
    kept = read_profile(profile_text(found), "mine.toml")
    assert kept == found
    assert kept != find_profile("tiny")
    with board.session(kept) as session:
        load(session, board.archive, board.material(PROGRAM), LoadOptions())
    assert board.memory == board.held_after(PROGRAM)
    with board.session(kept) as session:
        saved = save(session, board.archive, SaveOptions(name="BACK"))
    text = board.archive.content(board.archive.revision(saved.revision.spec)).text
    assert len(text.splitlines()) == len(board.memory)
