"""What the pin programs put out, worked out again another way from what came to the pins."""

from __future__ import annotations

import itertools

import pytest

from hostlink.practice.kind import BoardKind
from hostlink.practice.pin_bank import PinChange, PinInput
from hostlink.practice.walk import Walk
from hostlink.shipped import library_folder


def tried(name: str, *inputs: tuple[int, str, int]) -> tuple[list[str], list[PinChange]]:
    """The rows that a pin program prints, and what it puts out."""
    text = (library_folder() / f"{name}.bas").read_text(encoding="ascii")
    walk = Walk(text, BoardKind(), (), [PinInput(*each) for each in inputs])
    assert walk.run() == "end"
    return walk.output.splitlines(), walk.state.pins.changes


def test_the_blinker_is_on_and_off_for_a_quarter_of_a_second() -> None:
    """Ten times, and off at the end."""
    _, put = tried("blinker")
    assert [each.value for each in put] == [1, 0] * 10
    spans = [after.ms - before.ms for before, after in itertools.pairwise(put)]
    assert all(250 <= span < 254 for span in spans)


@pytest.mark.parametrize("late", [120, 300, 900])
def test_the_reaction_timer_counts_from_the_lamp_to_the_button(late: int) -> None:
    """In steps of about 5 ms, within a tenth."""
    _, [lamp, *_] = tried("react")
    pressed = int(lamp.ms) + late
    rows, put = tried("react", (pressed, "2", 1), (pressed + 50, "2", 0))
    assert [each.value for each in put[:2]] == [1, 0]
    assert put[1].ms - put[0].ms == pytest.approx(late, abs=12)
    told = next(int(row.split()[1]) for row in rows if row.startswith("ABOUT"))
    assert told == pytest.approx(late, rel=0.1, abs=6)


def test_a_button_that_is_held_is_too_early() -> None:
    """The lamp stays off, and the next round begins when it is let go."""
    rows, put = tried("react", (0, "2", 1), (30_000, "2", 0))
    assert rows[1] == "TOO EARLY"
    assert put[0].ms > 31_000


@pytest.mark.parametrize("level", [0, 1, 20, 51, 102, 205, 511, 1023])
def test_the_thermometer_is_right_to_a_degree(level: int) -> None:
    """10 mV a degree, 5 V in 1024 steps: of 10 bits, by the ADC's own formula (data sheet
    DS40002061A, section 24.7, from memory: ADC = V x 1024 / Vref)."""
    rows, _ = tried("thermo", (0, "ADC0", level))
    told = {int(row.split()[1]) for row in rows[1:]}
    assert len(told) == 1
    assert told.pop() == pytest.approx(level * 5.0 / 1024 / 0.010, abs=1.01)


def test_the_dimmer_follows_the_knob() -> None:
    """A level of 10 bits is a width of 8; at the end the lamp is off."""
    _, put = tried("dimmer", (0, "ADC0", 40), (1000, "ADC0", 512), (2500, "ADC0", 1023))
    assert [(each.what, each.value) for each in put] == [("width", w) for w in (10, 128, 255, 0)]


def test_the_doorbell_plays_notes_of_the_scale() -> None:
    """Equal temperament with A at 440 Hz (ISO 16:1975, from memory), to the nearest hertz."""
    rows, put = tried("chime", (700, "2", 1), (1000, "2", 0))
    assert rows == ["SOMEBODY IS AT THE DOOR"]
    scale = {round(440 * 2 ** (step / 12)) for step in range(-24, 25)}
    heard = [each.value for each in put if each.value]
    assert len(heard) == 8
    assert set(heard) <= scale
    for before, after in itertools.pairwise(put):
        assert after.ms - before.ms == pytest.approx(before.for_ms, abs=2)  # one after the other


def test_the_night_light_does_not_flicker() -> None:
    """Between its two limits it stays as it was; held against the same rule in Python."""
    levels = [700, 399, 301, 299, 350, 399, 401, 350, 305, 100, 500]
    _, put = tried("night", *((5000 * at, "ADC0", level) for at, level in enumerate(levels)))
    wanted, lit = [], 0
    for level in levels:
        now = 1 if level < 300 else 0 if level > 400 else lit
        if now != lit:
            wanted.append(now)
        lit = now
    assert [each.value for each in put] == wanted == [1, 0, 1, 0]
