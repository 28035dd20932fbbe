"""Trying shipped programs on the practice board of every profile, in that board's own BASIC."""

from __future__ import annotations

import pytest

from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.errors import HostlinkError
from hostlink.jobs.language_of import in_language_of
from hostlink.jobs.listing_source import read_shipped, shipped_programs
from hostlink.jobs.proving import inputs_of
from hostlink.jobs.stepping import change_level, state_rows
from hostlink.jobs.trying import Setting, trace


def characters(output: str) -> list[str]:
    """The rows without blanks and the sign with which INPUT asks, both the board's own."""
    return ["".join(row.replace("?", "").split()) for row in output.rstrip("\n").split("\n")]


@pytest.mark.one_in(3)
@pytest.mark.parametrize("name", sorted(set(shipped_profiles()) - {"practice"}))
def test_a_shipped_program_does_the_same_on_every_profile(name: str) -> None:
    """Where it can be adapted for it: on the kind of that name, else on the profile's own twin."""
    profile, practice = find_profile(name), find_profile("practice")
    tried = 0
    for program in ("HAIL", "TIDE", "PRIMES", "LADDER"):
        material = read_shipped(program)
        try:
            made = in_language_of(
                profile, material, lambda _: None, despite=False, allow=lambda _: False
            )
        except HostlinkError:
            continue
        inputs = tuple(inputs_of(material) or ())
        setting = Setting(name, inputs)
        walk = setting.begin(made.text, profile)
        own = Setting("practice", inputs).begin(material.text, practice)
        assert (setting.finish(walk), walk.error) == ("end", "")
        assert own.run() == "end"
        assert characters(own.output) == characters(walk.output), program
        tried += 1
    assert tried


def test_a_trace_is_the_run_it_traces() -> None:
    """What it prints in pieces is the whole output, and the last statement the last."""
    practice = find_profile("practice")
    for program, entry in shipped_programs().items():
        text = read_shipped(program).text
        setting = Setting("practice", entry.inputs, statements=3000)
        traced, plain = setting.begin(text, practice), setting.begin(text, practice)
        steps = list(trace(traced, setting))
        ended = setting.finish(traced)
        assert setting.finish(plain) == ended
        assert "".join(step["prints"] for step in steps) == plain.output
        assert [step["statement"] for step in steps] == list(range(1, len(steps) + 1))
        assert len(steps) == plain.statements


def test_variables_of_two_characters_and_of_text_are_named() -> None:
    """On a kind that has them: in a trace by name and value, beside the lines text in quotes."""
    ready = find_profile("ready")
    text = '10 BX=1/4\n20 N$="HI"\n30 FOR Q=1 TO 2\n40 PRINT BX;N$\n'
    walk = Setting("ready").begin(text, ready)
    sets = [step["sets"] for step in trace(walk, Setting("ready"))]
    assert sets[:3] == [{"BX": 0.25}, {"N$": "HI"}, {"Q": 1}]
    assert list(state_rows(walk)) == [
        "Variables", "  Q = 1", "  BX = 0.25", '  N$ = "HI"', "Loop: Q to 2, from line 30",
    ]  # fmt: skip


def test_a_pin_slides_between_its_bounds() -> None:
    """An analog one in 32nds from 0 to its most, a digital one between off and on."""
    walk = Setting("practice").begin("10 PRINT LEVEL(0);PIN(2)\n", find_profile("practice"))
    bank = walk.state.pins
    levels = []
    for by in (1, -1, -1, 40, 1):
        change_level(walk, "ADC0", by)
        change_level(walk, "2", by)
        levels.append((bank.level("ADC0"), bank.level("2")))
    assert levels == [(32, 1), (0, 0), (0, 0), (1023, 1), (1023, 1)]
    change_level(walk, "ADC0", 0)
    assert bank.level("ADC0") == 0
