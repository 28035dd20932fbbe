"""Divisors and receiver limits against the published tables of the board's chip."""

from __future__ import annotations

import pytest

from hostlink.board.port.uart import (
    SPEEDS,
    divisor,
    good_speeds,
    receiver_limits,
    recommended_percent,
    speed_warning,
)
from hostlink.firmware.image_speeds import SpeedSetting

CLOCK = 16_000_000

# Atmel sister sheet 2545D, table 84 (16.0000 MHz): baud: UBRR and error in per cent at normal
# speed, then at double speed. The same formulas are in 8271H, table 20-1.
TABLE_84 = {
    2400: (416, -0.1, 832, 0.0),
    4800: (207, 0.2, 416, -0.1),
    9600: (103, 0.2, 207, 0.2),
    14400: (68, 0.6, 138, -0.1),
    19200: (51, 0.2, 103, 0.2),
    28800: (34, -0.8, 68, 0.6),
    38400: (25, 0.2, 51, 0.2),
    57600: (16, 2.1, 34, -0.8),
    76800: (12, 0.2, 25, 0.2),
    115200: (8, -3.5, 16, 2.1),
    230400: (3, 8.5, 8, -3.5),
    250000: (3, 0.0, 7, 0.0),
    500000: (1, 0.0, 3, 0.0),
    1000000: (0, 0.0, 1, 0.0),
}
PRINTED = 0.051  # the sheet prints one decimal


@pytest.mark.parametrize("baud", TABLE_84)
@pytest.mark.parametrize("double", [False, True])
def test_the_16_mhz_table_of_the_datasheet_is_reproduced(baud: int, double: bool) -> None:
    """Divisor and error of each row are those printed (sister sheet 2545D, table 84)."""
    ubrr, error = TABLE_84[baud][2 * double : 2 * double + 2]
    setting = divisor(CLOCK, baud, double)
    assert setting.ubrr == ubrr
    assert setting.error_percent == pytest.approx(error, abs=PRINTED)


def test_the_speeds_that_are_suggested_are_the_rows_of_the_table() -> None:
    """Nothing is suggested that the sheet does not list (2545D, table 84)."""
    assert tuple(TABLE_84) == SPEEDS


@pytest.mark.parametrize(
    ("double", "slow", "fast"), [(False, 95.36, 104.58), (True, 96.00, 103.90)]
)
def test_receiver_limits_for_eight_bits_are_the_published_ones(
    double: bool, slow: float, fast: float
) -> None:
    """Rslow and Rfast with D = 8 (DS40002061A, 20.8.3; its "-4.54" for D = 8 is a misprint)."""
    limits = receiver_limits(8, double)
    assert limits.slow_percent == pytest.approx(slow, abs=0.0051)
    assert limits.fast_percent == pytest.approx(fast, abs=0.0051)


@pytest.mark.parametrize(("double", "recommended"), [(False, 2.0), (True, 1.5)])
def test_the_recommended_error_is_the_published_one_and_at_most_half_of_what_is_possible(
    double: bool, recommended: float
) -> None:
    """+-2.0 % and +-1.5 % for 8 data bits (DS40002061A, 20.8.3): both ends share the error."""
    assert recommended_percent(double) == recommended
    limits = receiver_limits(8, double)
    least = min(100 - limits.slow_percent, limits.fast_percent - 100)
    assert recommended <= least / 2 + 0.05


def test_115200_at_16_mhz_is_outside_the_recommendation_either_way() -> None:
    """3.5 % and 2.1 % are more than 2.0 % and 1.5 % (2545D, table 84; DS40002061A, 20.8.3)."""
    assert speed_warning(115200, CLOCK) and speed_warning(115200, CLOCK, double_speed=True)
    assert 115200 not in good_speeds(CLOCK) and 115200 not in good_speeds(CLOCK, True)


def test_the_practice_boards_speed_needs_double_speed_at_16_mhz() -> None:
    """57600: 2.1 % at normal speed, -0.8 % at double speed (2545D, table 84)."""
    assert speed_warning(57600, CLOCK)
    assert speed_warning(57600, CLOCK, double_speed=True) == ""


@pytest.mark.parametrize("baud", TABLE_84)
@pytest.mark.parametrize("double", [False, True])
def test_a_divisor_in_an_image_means_the_speed_of_its_row(baud: int, double: bool) -> None:
    """A firmware that stores the printed UBRR talks at the row's speed at 16 MHz (2545D, table 84);
    rows that are off by more than 4 % are no usable speed and are not told."""
    ubrr, error = TABLE_84[baud][2 * double : 2 * double + 2]
    meant = SpeedSetting(ubrr, double).meanings()
    others = {each for each in TABLE_84 if TABLE_84[each][2 * double] == ubrr}
    told = {each for each, clock in meant if clock == CLOCK}
    if abs(error) <= 4:
        assert told and told <= others
    assert told <= others
