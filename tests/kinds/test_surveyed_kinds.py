"""Every kind of board is surveyed and kept; the kept profile is used straight away."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.board.profile.text import profile_text, read_profile
from hostlink.board.survey.slots import SlotWords
from hostlink.board.survey.steps import Consent
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.surveying import SurveyOptions, survey
from hostlink.practice.complaint import Reason
from hostlink.practice.eeprom import ONLY
from hostlink.practice.kind_file import find_kind, kind_names

HELD = '10 REM another one\n20 PRINT "BUOY"\n30 LET B=7\n'
PROGRAM = '10 REM TIDE TABLE\n20 LET A=3\n30 PRINT "LAMP ";A\n40 IF A<2 GOTO 20\n50 PRINT A\n'


@pytest.mark.one_in(8)
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
        load(session, board.archive, board.material(PROGRAM), LoadOptions(despite_review=True))
    assert board.memory == board.held_after(PROGRAM)
    with board.session(kept) as session:
        saved = save(session, board.archive, SaveOptions(name="BACK"))
    text = board.archive.content(board.archive.revision(saved.revision.spec)).text
    assert len(text.splitlines()) == len(board.memory)


LARGE = 8000  # bytes that take longer to fill than a test waits
SMALL = [name for name in kind_names() if find_kind(name).settings.program_bytes < LARGE]
HANGS = [name for name in kind_names() if find_kind(name).shelf.blank_recall == "hangs"]
FULL = Consent(storing=True, filling=True)
EEPROM = Consent(storing=True, longest=128, slots=True)


@pytest.mark.one_in(8)
@pytest.mark.parametrize("kind", kind_names())
def test_how_a_kind_stores_programs_is_measured(bench: Callable[[str], Any], kind: str) -> None:
    """The words that a survey tried are the kind's own; its program is as before. A kind that has
    no EEPROM has none of these words, and no line is longer than it takes."""
    board = bench(kind)
    board.put(HELD)
    held, own = board.memory, board.machine.kind
    words = dict(own.language.words)
    with board.session(unknown=True) as session:
        options = SurveyOptions(name="mine", consent=EEPROM)
        found = survey(session, board.archive, options).profile
    assert board.memory == held
    commands = found.commands
    if commands.store:
        assert commands.store.split()[0] == words["store"][0]
        assert commands.recall.split()[0] == words["recall"][0]
    assert own.shelf.slots != "none" or not commands.store
    assert found.rules.form.longest_line <= own.settings.longest_line


@pytest.mark.one_in(5)
@pytest.mark.parametrize("kind", SMALL)
def test_what_a_kind_says_when_it_is_full_is_measured(
    bench: Callable[[str], Any], kind: str
) -> None:
    """The word is the beginning of the kind's own message, and its program is put back."""
    board = bench(kind)
    board.put(HELD)
    held = board.memory
    full = board.machine.kind.messages.text(Reason.FULL).partition("{")[0]
    with board.session(unknown=True) as session:
        options = SurveyOptions(name="mine", consent=FULL)
        found = survey(session, board.archive, options).profile
    assert board.memory == held
    assert any(full in word for word in found.commands.full_words)


@pytest.mark.parametrize("kind", HANGS)
def test_a_board_that_hangs_at_a_recall_is_restarted(
    bench: Callable[[str], Any], kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no word lists what the place holds, it can only be recalled; what memory held is put
    back, and the words are found."""
    board = bench(kind)
    board.put(HELD)
    held = board.memory
    monkeypatch.setattr(
        "hostlink.board.survey.steps.SlotWords",
        lambda store, recall, stored, _shown: SlotWords(store, recall, stored),
    )
    with board.session(unknown=True) as session:
        options = SurveyOptions(name="mine", consent=EEPROM)
        surveyed = survey(session, board.archive, options)
    assert board.memory == held
    assert surveyed.profile.commands.store == dict(board.kind.language.words)["store"][0]
    assert any("it was restarted" in note for note in surveyed.notes)


def test_a_wrong_word_for_recalling_does_not_cost_what_is_stored(
    bench: Callable[[str], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing comes by it, and nothing goes: the place is not known to be empty."""
    board = bench("token")
    board.machine.basic.eeprom[ONLY] = board.held_after(PROGRAM)
    stored, commands = board.stored, board.profile.commands
    wrong = dataclasses.replace(commands, recall="BRING")
    monkeypatch.setattr(
        "hostlink.board.survey.steps.SlotWords",
        lambda store, _recall, _stored, _shown: SlotWords(store, "BRING", ""),
    )
    with board.session(dataclasses.replace(board.profile, commands=wrong)) as session:
        options = SurveyOptions(name="mine", consent=EEPROM)
        surveyed = survey(session, board.archive, options)
    assert board.stored == stored
    assert surveyed.profile.commands.recall == commands.recall
    assert any("BRING" in note for note in surveyed.notes)
