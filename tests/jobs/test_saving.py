"""Saving: what a person has to know of a listing before it is needed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

from hostlink.board.dialogue.events import Phase, Warned
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.stored_programs import stored_slots


def with_form(**values: Any) -> Profile:
    """The practice board's profile, with other values of its form of listing."""
    profile = find_profile("practice")
    form = dataclasses.replace(profile.rules.form, **values)
    return dataclasses.replace(profile, rules=dataclasses.replace(profile.rules, form=form))


def test_a_line_that_cannot_be_typed_again_is_told(table: Callable) -> None:
    """It is kept as it is listed: 21 characters on a board said to take 20."""
    t = table()
    t.load('10 PRINT 1\n20 PRINT "HARBOUR 77"\n30 END\n')
    with t.session(with_form(longest_line=20, last_line=999)) as session:
        saved = save(session, t.archive, SaveOptions(name="HARBOUR"))
    (told,) = [event.text for event in t.events if isinstance(event, Warned)]
    assert "takes at most 20 characters in a line, but lists more for line 20, so" in told
    assert '20 PRINT "HARBOUR 77"' in t.archive.content(saved.revision).text


def test_a_line_of_just_that_length_is_none(table: Callable) -> None:
    """The limit itself can be typed."""
    t = table()
    t.load('20 PRINT "HARBOUR 77"\n')
    with t.session(with_form(longest_line=21, last_line=999)) as session:
        save(session, t.archive, SaveOptions(name="HARBOUR"))
    assert [event for event in t.events if isinstance(event, Warned)] == []


def test_a_long_reading_says_how_long(table: Callable) -> None:
    """Two listings of 999 bytes, 10 bits a byte: 66.6 s at 300 baud, and no word at 9600."""
    t = table(baud=300)
    t.load("10 END\n")
    profile = find_profile("practice")
    slow = dataclasses.replace(profile, talk=dataclasses.replace(profile.talk, baud=300))
    with t.session(slow) as session:
        save(session, t.archive, SaveOptions(name="HARBOUR"))
    words = [event.words for event in t.events if isinstance(event, Phase)]
    assert words == ["Reading the board's program, 67 s at most"]
    assert Phase("Sending", 1.9).words == "Sending"


def test_a_board_that_prompts_before_it_answers_is_read_whole(table: Callable) -> None:
    """The first row of its listing stands behind the prompt (scripts/soak.py, job 29685)."""
    t = table(prompts_first=True)
    t.load("10 PRINT 1\n20 END\n", slot="ONE")
    with t.session() as session:
        saved = save(session, t.archive, SaveOptions(name="HARBOUR"))
        assert [slot.name for slot in stored_slots(session)] == ["ONE"]
    assert t.archive.content(saved.revision).text == "10 PRINT 1\n20 END\n"
