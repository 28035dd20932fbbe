"""Divisors and speed errors: bad values, and properties that hold for every clock."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hostlink.board.port.uart import (
    LARGEST_UBRR,
    SPEEDS,
    divisor,
    good_speeds,
    receiver_limits,
    recommended_percent,
    speed_warning,
)
from hostlink.errors import UsageError

CLOCKS = st.sampled_from([1_000_000, 1_843_200, 8_000_000, 16_000_000, 18_432_000, 20_000_000])


@settings(derandomize=True, deadline=None)
@given(CLOCKS, st.integers(300, 2_000_000), st.booleans())
def test_no_other_divisor_comes_nearer(clock: int, baud: int, double: bool) -> None:
    """The chosen divisor is the best of its neighbours, and within the register."""
    samples = 8 if double else 16
    assume(clock / (samples * baud) - 1 < LARGEST_UBRR)
    setting = divisor(clock, baud, double)
    assert 0 <= setting.ubrr <= LARGEST_UBRR
    assert setting.actual_baud * samples * (setting.ubrr + 1) == pytest.approx(clock)
    assert setting.error_percent == pytest.approx((setting.actual_baud - baud) / baud * 100)
    for ubrr in (setting.ubrr - 1, setting.ubrr + 1):
        if 0 <= ubrr <= LARGEST_UBRR:
            other = clock / (samples * (ubrr + 1)) / baud - 1
            assert abs(setting.error_percent) <= abs(other) * 100 + 1e-9


@pytest.mark.parametrize(
    ("clock", "baud"),
    [(0, 9600), (16e6, 0), (-1, 9600), (16e6, -1), (float("nan"), 9600), (16e6, float("inf"))],
)
def test_a_clock_or_speed_that_is_none_is_refused(clock: float, baud: float) -> None:
    """Only finite numbers above 0 mean something."""
    with pytest.raises(UsageError, match="above 0"):
        divisor(clock, baud)


def test_a_speed_below_the_register_is_refused_with_the_least_that_goes() -> None:
    """At 16 MHz 4095 is the last divisor: 244.14 baud, so 245 is the least whole speed."""
    with pytest.raises(UsageError, match=r"the least is 245\."):
        divisor(16_000_000, 100)
    assert divisor(16_000_000, 245).ubrr <= LARGEST_UBRR


@pytest.mark.parametrize("bits", [4, 11, -1])
def test_a_character_of_an_impossible_length_is_refused(bits: int) -> None:
    """The unit sends 5 to 9 bits, with parity 10."""
    with pytest.raises(UsageError, match="data bits"):
        receiver_limits(bits)


@settings(derandomize=True, deadline=None)
@given(st.integers(5, 10), st.booleans())
def test_longer_characters_leave_less_room(bits: int, double: bool) -> None:
    """The limits enclose the true speed, and draw in as the character gets longer."""
    limits = receiver_limits(bits, double)
    assert limits.slow_percent < 100 < limits.fast_percent
    if bits < 10:
        longer = receiver_limits(bits + 1, double)
        assert longer.slow_percent > limits.slow_percent
        assert longer.fast_percent < limits.fast_percent


@settings(derandomize=True, deadline=None)
@given(CLOCKS, st.sampled_from(SPEEDS), st.booleans())
def test_a_warning_comes_exactly_beyond_the_recommended_error(
    clock: int, baud: int, double: bool
) -> None:
    """Good speeds give no warning; every other speed of the table does."""
    said = speed_warning(baud, clock, double)
    assert (said == "") == (baud in good_speeds(clock, double))
    if said:
        wrong = divisor(clock, baud, double).error_percent
        assert abs(wrong) > recommended_percent(double)
        assert f"{abs(wrong):.1f} % {'faster' if wrong > 0 else 'slower'}" in said


def test_a_warning_says_how_bad_it_is_and_what_fits() -> None:
    """Just outside may work and lose characters; far outside cannot work at all."""
    near = speed_warning(115200, 16_000_000)
    assert "111111 baud, 3.5 % slower than 115200" in near
    assert "may be lost or damaged" in near and near.endswith("fits: 76800 baud.")
    assert "cannot read what is sent" in speed_warning(230400, 16_000_000)
    assert speed_warning(9600, 16_000_000) == ""
