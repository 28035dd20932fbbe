"""What a survey concludes from answers, and what becomes of conclusions that contradict."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any

import pytest

from hostlink.board.profile.checks import profile_clashes
from hostlink.board.profile.file import find_profile
from hostlink.board.survey.findings import Findings, can_be_written
from hostlink.board.survey.numbers import find_forms
from hostlink.board.survey.proposal import propose, value_in
from hostlink.listing.rules import Form

TINY = find_profile("tiny")


def findings_of(answers: Mapping[str, tuple[str, ...]]) -> Findings:
    """What is concluded from a board that answers direct lines so, and refuses all others."""
    bench: Any = SimpleNamespace(
        findings=Findings(),
        base=TINY,
        is_known=False,
        ask=lambda line: answers.get(line, ("WHAT?",)),
    )
    find_forms(bench)
    return bench.findings  # type: ignore[no-any-return]


PLAIN = {"PRINT 4": (" 4",), "PRINT 7/2": ("3",)}


@pytest.mark.parametrize("limit", [32_767, 8_388_607, 2_147_483_647])
def test_the_largest_number_is_the_last_that_is_printed_as_it_is(limit: int) -> None:
    """Of 16, 24 and 32 bits with a sign: two's complement, one more below zero."""
    ends = (32_767, 8_388_607, 2_147_483_647)
    shown = [n for end in ends if end <= limit for n in (end, end + 1) if n != limit + 1]
    found = findings_of(PLAIN | {f"PRINT {n}": (str(n),) for n in shown})
    assert found.value("language.largest_number") == limit
    assert found.value("language.smallest_number") == -limit - 1
    assert not found.is_measured("language.smallest_number")
    assert found.value("language.fractions") is False


def test_numbers_beyond_all_usual_ends_are_not_measured() -> None:
    """Nor one at whose first end something else is printed."""
    ends = (32_767, 8_388_607, 2_147_483_647)
    every = {f"PRINT {n}": (str(n),) for end in ends for n in (end, end + 1)}
    assert "language.largest_number" not in findings_of(PLAIN | every)
    assert "language.largest_number" not in findings_of(PLAIN)


def test_seven_halves_tell_fractions() -> None:
    """3.5 has one, 3 has none, and anything else tells nothing."""
    assert findings_of(PLAIN | {"PRINT 7/2": (" 3.5",)}).value("language.fractions") is True
    assert "language.fractions" not in findings_of(PLAIN | {"PRINT 7/2": ("?",)})


def test_quotes_and_short_forms_are_those_that_print_the_same() -> None:
    """What is refused is not taken for known."""
    found = findings_of(PLAIN | {"PRINT 'Qz4 4'": ("Qz4 4",), "P. 4": ("4",), "print 4": ("4",)})
    assert found.value("language.quotes") == "'"
    assert found.value("language.abbreviation_mark") == "."
    assert found.value("language.capitals_only") is False
    assert found.value("language.separator") == ""
    assert "language.quotes" not in findings_of(PLAIN)


def test_a_board_that_does_not_print_shows_nothing_of_them() -> None:
    """It is said why."""
    found = findings_of({})
    assert [one.evidence for one in found] == ["PRINT is not understood, so nothing shows it"]


def test_a_value_that_no_profile_can_hold_is_not_found() -> None:
    """A speed of no baud, a key that does not exist, and what is no value at all."""
    assert can_be_written("talk.baud", 9600)
    for name, value in (("talk.baud", "fast"), ("talk.colour", 1), ("talk.baud", None)):
        assert not can_be_written(name, value)
    found = Findings()
    found.add("talk.baud", "fast", "it answers at it")
    assert "talk.baud" not in found
    assert next(iter(found)).evidence == "it answers at it, which a profile cannot express"


def test_what_would_contradict_is_left_out_of_the_proposal() -> None:
    """A key cannot be the line end, too: one of the two is named as not found."""
    found = Findings()
    found.add("talk.line_end", b"\r", "it ends a line")
    found.add("talk.erase", b"\r", "it took a character back")
    made = propose(TINY, found, "mine")
    assert list(profile_clashes(made)) == []
    assert (made.name, value_in(made, "talk.line_end")) == ("mine", b"\r")
    assert made.talk.erase != b"\r"
    assert "talk.erase" not in found


def test_a_guess_gives_way_to_what_was_measured() -> None:
    """A first line above the base's last one, which nobody measured."""
    found = Findings()
    found.add("listing.first_line", 5_000, "lower ones are refused")
    base = dataclasses.replace(
        TINY, rules=dataclasses.replace(TINY.rules, form=Form(last_line=900))
    )
    made = propose(base, found, "mine")
    assert list(profile_clashes(made)) == []
    assert made.rules.form.first_line == 5_000
    assert made.rules.form.last_line == Form().last_line
