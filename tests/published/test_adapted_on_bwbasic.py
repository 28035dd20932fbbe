"""Adapted programs on the real bwbasic interpreter (Debian package bwbasic 2.20).

The originals run on the practice board, the results on bwbasic by its own language as data. Blanks
are not compared, nor row ends (bwbasic does not echo answers), nor the question marks of both.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from practice_run import outcome

from hostlink.board.profile.file import find_profile, load_profile
from hostlink.jobs.adapting import adapt_for
from hostlink.jobs.listing_source import read_shipped, shipped_programs
from hostlink.jobs.proving import inputs_of
from hostlink.listing import Listing
from hostlink.practice.kind_file import find_kind

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

BWBASIC = load_profile(Path(__file__).parent / "bwbasic.toml")
GENERATED = 40
OTHER_NUMBERS = {"WIRE", "LOCK", "DICE", "MORSE"}
"""Their random numbers are those of the interpreter."""
WRONG_THERE = {"COAST", "CRATE", "BANDS", "HEX", "BAUD", "GEARS"}
"""bwbasic goes on behind an IF that fails behind another IF, takes no `;:`, prints -0, and is
wrong where the argument of a function calls it again or holds a variable named as its parameter."""
NEEDS = {"ROOM"} | {name for name, entry in shipped_programs().items() if "pins" in entry.tags}
"""bwbasic has no function for the free memory, and no pins."""
COMPARED = sorted(set(shipped_programs()) - OTHER_NUMBERS - WRONG_THERE - NEEDS)


def characters(text: str) -> str:
    """What was shown, without blanks, row ends and question marks."""
    return "".join(text.replace("?", " ").split())


@pytest.mark.parametrize("name", COMPARED)
def test_a_shipped_program_prints_the_same_on_bwbasic(
    name: str, foreign_output: Callable[..., list[str]]
) -> None:
    """Division, computed jumps and all: the words are those of the practice board."""
    material = read_shipped(name)
    made = adapt_for(material.listing, find_profile("practice"), BWBASIC)
    assert not made.needs
    inputs = inputs_of(material) or ()
    ours = outcome(material.text, inputs, with_answers=False)
    assert ours.ended == "end"
    shown = foreign_output(made.listing.text(), inputs)
    assert characters("\n".join(shown)) == characters(ours.output)


def test_the_others_are_adapted_too_or_say_what_they_need() -> None:
    """Random numbers differ, so these are not compared; only the free memory has no equal."""
    for name in sorted(OTHER_NUMBERS | WRONG_THERE | NEEDS):
        made = adapt_for(read_shipped(name).listing, find_profile("practice"), BWBASIC)
        assert bool(made.needs) == (name in NEEDS)


@pytest.mark.slow
@pytest.mark.parametrize("source", ["practice", "capital", "token"])
def test_generated_programs_print_the_same_on_bwbasic(
    source: str, make_program: Callable[[int], str], foreign_output: Callable[..., list[str]]
) -> None:
    """From each kind: what the kind prints, bwbasic prints of the adapted listing."""
    practice, kind = find_profile("practice"), find_profile(source)
    for seed in range(GENERATED if source == "practice" else GENERATED // 4):
        listing = Listing.from_text(make_program(seed))
        begun = listing if source == "practice" else adapt_for(listing, practice, kind).listing
        made = adapt_for(begun, kind, BWBASIC)
        assert not made.needs, (seed, made.needs)
        ours = outcome(begun.text(), kind=find_kind(source)).output
        assert characters("\n".join(foreign_output(made.listing.text()))) == characters(ours), seed


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("PRINT 7/2;-7/2;1/3", "3.5000000 -3.5000000 0.3333333"),
        ("PRINT 2=2;2=3", "-1 0"),
        ("PRINT -3;4", "-3 4"),
        ('PRINT 1,"A",-3', "1 A -3"),
        ("PRINT INT(-3.5);SGN(-2);ABS(-3)", "-4 -1 3"),
        ('A$="HI":PRINT A$;"X"', "HIX"),
        ("ON 2 GOTO 30,40", "FORTY"),
        ("IF 1=1 THEN IF 1=2 THEN PRINT 5:PRINT 6", "5 6"),
    ],
)
def test_the_profile_states_what_bwbasic_does(
    line: str, shown: str, foreign_output: Callable[..., list[str]]
) -> None:
    """The forms that the profile names, as the interpreter itself shows them."""
    listing = f'10 {line}\n20 END\n30 END\n40 PRINT "FORTY"\n50 END\n'
    assert " ".join(foreign_output(listing)).split() == shown.split()
