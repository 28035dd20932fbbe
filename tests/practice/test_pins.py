"""Words for pins: each kind its own, run on the practice board and checked by the review."""

from __future__ import annotations

import dataclasses

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.board.profile.text import profile_text, read_profile
from hostlink.board.twin import kind_like
from hostlink.errors import ProfileError, UsageError
from hostlink.listing import Listing, review
from hostlink.pins import Pins, pin_form
from hostlink.practice.kind import BoardKind
from hostlink.practice.kind_file import find_kind, read_kind
from hostlink.practice.machine import Machine
from hostlink.practice.pin_bank import MOST_CHANGES, PinChange, PinInput
from hostlink.practice.walk import Walk

OTHER = """[board]
name = "other"

[language]
separator = ":"
statements = ["PRINT", "LET", "FOR", "NEXT", "GOTO", "IF", "END", "LIST", "RUN", "NEW"]

[pins]
write = "SWITCH({value}, {pin})"
read = "SEEN({pin})"
pulse = "GLOW {width}, {pin}"
tone = "BEEP {hertz}"
wait = "REST {ms}"
digital = [[1, 4]]
pulse_outputs = [[2, 2]]
pulse_most = 100
"""


def put(text: str, kind: BoardKind | None = None, *script: PinInput) -> list[tuple[str, str, int]]:
    """What a program puts out at pins, without the times."""
    walk = Walk(text, kind or BoardKind(), (), script)
    assert walk.run() == "end", walk.error
    return [(each.pin, each.what, each.value) for each in walk.state.pins.changes]


def test_only_changes_are_noted_each_with_its_time() -> None:
    """A pin that stays as it is says nothing."""
    text = "10 OUT 13,0:OUT 13,1:OUT 13,1:WAIT 100:OUT 13,0\n20 TONE 8,440,50:TONE 8,440,50\n"
    walk = Walk(text, BoardKind())
    assert walk.run() == "end"
    changes = walk.state.pins.changes
    assert [(each.pin, each.value) for each in changes] == [
        ("13", 1),
        ("13", 0),
        ("8", 440),
        ("8", 440),
    ]
    assert changes[1].ms - changes[0].ms == pytest.approx(101.5)  # 0.5 ms a statement
    assert changes[2] == PinChange(changes[2].ms, "8", "tone", 440, 50)


def test_a_program_that_starts_itself_anew_goes_on_with_its_pins() -> None:
    """RUN as its last line is a loop: what was put out before is kept, and the time goes on."""
    walk = Walk("10 OUT 13,1:WAIT 100:OUT 13,0:WAIT 100\n20 RUN\n", BoardKind())
    assert walk.run(seconds=0.5) == "seconds"
    changes = walk.state.pins.changes
    assert [each.value for each in changes] == [1, 0, 1, 0, 1]
    assert [round(each.ms, -2) for each in changes] == [0, 100, 200, 300, 400]


def test_what_comes_to_a_pin_is_read_at_its_time() -> None:
    """Before it the pin is 0; what was put out is read back where nothing else comes."""
    text = "10 PRINT PIN(2);LEVEL(0):WAIT 100\n20 PRINT PIN(2);LEVEL(0)\n30 OUT 5,1:PRINT PIN(5)\n"
    walk = Walk(text, BoardKind(), (), [PinInput(50, "ADC0", 700), PinInput(60, "2", 1)])
    assert walk.run() == "end"
    assert walk.output == " 0 0\n 1 700\n 1\n"


def test_rows_for_pins_count_by_their_times() -> None:
    """In whatever order they stand."""
    late, early = PinInput(150, "2", 0), PinInput(50, "2", 1)
    text = "10 PRINT PIN(2);:WAIT 100\n20 PRINT PIN(2);:WAIT 100\n30 PRINT PIN(2)\n"
    walk = Walk(text, BoardKind(), (), [late, early])
    assert walk.run() == "end"
    assert walk.output == " 0 1 0\n"


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("OUT 99,1", "no pin 99 for that"),
        ("DUTY 4,10", "no pin 4 for that"),
        ("PRINT LEVEL(6)", "no pin 6 for that"),
        ("OUT 13,2", "number out of range"),
        ("DUTY 9,256", "number out of range"),
        ("WAIT -1", "number out of range"),
        ("OUT 13", "line ends too soon"),
    ],
)
def test_a_pin_that_is_not_there_stops_the_program(line: str, says: str) -> None:
    """As every other error does."""
    walk = Walk(f"10 {line}\n", BoardKind())
    assert walk.run() == "error"
    assert says in walk.error


def test_another_kind_has_words_and_an_order_of_its_own() -> None:
    """From its file alone, with or without brackets, and no others."""
    kind = read_kind(
        OTHER.replace('name = "other"', 'title = "x"').replace("statements", "#"), "other"
    )
    text = "10 SWITCH(1,3)\n20 IF SEEN(3)=1 THEN GLOW 50,2\n30 BEEP 440:REST 20\n"
    assert put(text, kind) == [("3", "on", 1), ("2", "width", 50), ("tone", "tone", 440)]
    walk = Walk("10 OUT 3,1\n", kind)
    assert walk.run() == "error"


def test_kinds_without_pins_do_not_have_the_words_of_the_practice_board() -> None:
    """Where no interpreter of a kind was seen to have them."""
    for name in ("capital", "token", "tiny"):
        assert find_kind(name).language.pins == Pins()


def test_a_twin_has_the_words_of_its_profile() -> None:
    """And its forms, so that a listing is tried in the language of a surveyed board."""
    kind = kind_like(read_profile(OTHER, "other"))
    assert put("10 SWITCH(1,3)\n", kind) == [("3", "on", 1)]
    token = kind_like(find_profile("token"))
    walk = Walk("10 PRINT 1,2=2\n", token)
    assert walk.run() == "end"
    assert walk.output == "1 -1\n"


def test_a_profile_with_pins_is_written_and_read_back() -> None:
    """One without them has no such table."""
    profile = read_profile(OTHER, "other")
    assert read_profile(profile_text(profile), "again") == profile
    assert "[pins]" not in profile_text(find_profile("token"))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("write", "OUT {pin}"),
        ("write", "OUT {pin},{pin}"),
        ("write", "out {pin},{value}"),
        ("read", "PIN {pin}"),
        ("tone", "TONE {ms}"),
        ("wait", "WAIT({ms}"),
    ],
)
def test_a_wrong_form_is_refused_in_profiles_and_kinds(key: str, value: str) -> None:
    """With the fields that it needs."""
    with pytest.raises(ProfileError, match=f"pins.{key}"):
        read_profile(f'[board]\nname = "x"\n[pins]\n{key} = "{value}"\n', "x")
    with pytest.raises(UsageError, match=rf"\[pins\] {key}"):
        read_kind(f'[pins]\n{key} = "{value}"\n', "x")


def test_the_review_checks_plain_pins_and_values() -> None:
    """Of any order and any depth; what is computed is left alone."""
    rules = read_profile(OTHER, "other").rules
    text = (
        "10 SWITCH(1,9)\n20 SWITCH(2,A):GLOW 101,3\n30 LET A=SEEN(SEEN(7))\n"
        "40 REST -5:BEEP A\n50 SWITCH(1,4):GLOW 100,2:REST 32767\n"
        "60 SWITCH(1):REST\n"
    )
    found = review(Listing.from_text(text), rules, deep=True).findings
    told = [(each.number, each.rule, each.column) for each in found if each.rule.startswith("pin-")]
    assert told == [
        (10, "pin-not-on-board", 13),
        (20, "pin-value-out-of-range", 11),
        (20, "pin-value-out-of-range", 21),
        (20, "pin-not-on-board", 25),
        (30, "pin-not-on-board", 20),
        (40, "pin-value-out-of-range", 9),
        (60, "pin-value-missing", 4),
        (60, "pin-value-missing", 14),
    ]


def test_a_wait_can_be_interrupted() -> None:
    """Behind a wire, within 10 ms, however long it is."""
    machine = Machine(kind=find_kind("practice"))
    machine.host_sends(b"WAIT 30000\r", 0.0)
    machine.run_until(1.0)
    machine.host_sends(b"\x03", 1.0)
    machine.run_until(1.1)
    assert b"stopped" in machine.host_reads(1.1, 1000)


def test_a_flood_of_changes_is_bounded() -> None:
    """The first ones are kept, and the run goes on."""
    walk = Walk("10 OUT 13,1:OUT 13,0:GOTO 10\n", BoardKind())
    assert walk.run(3 * MOST_CHANGES) == "statements"
    assert len(walk.state.pins.changes) == MOST_CHANGES


def test_a_form_is_a_word_and_its_fields() -> None:
    """In the order of the BASIC."""
    form = pin_form("SWITCH({value}, {pin})")
    assert form is not None
    assert dataclasses.astuple(form) == ("SWITCH", ("value", "pin"), True)
    assert pin_form("SWITCH") is None
