"""Compute the speeds that a board's UART can make, and the error that a receiver tolerates.

From the ATmega328P datasheet (8271H): the divisor from table 20-1, the limits of the receiver from
the section on the asynchronous operational range. A board whose clock cannot be divided evenly runs
at another speed than requested, and loses characters if the error is too large.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hostlink.errors import UsageError

LARGEST_UBRR = 4095  # the divisor register has 12 bits
SPEEDS = (
    *(2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600),
    *(76800, 115200, 230400, 250000, 500000, 1000000),
)  # the rows of the datasheet's tables, baud

# Recommended greatest error of a receiver with 8 data bits and no parity, per cent
# (DS40002061A, 20.8.3): half of what it tolerates, since both ends share the error.
RECOMMENDED_NORMAL = 2.0
RECOMMENDED_DOUBLE = 1.5


@dataclass(frozen=True, slots=True)
class UartSetting:
    """A divisor.

    ubrr: the value of the register. actual_baud: the resulting speed. error_percent: of actual
    against wanted speed, positive if the board is faster.
    """

    ubrr: int
    actual_baud: float
    error_percent: float


@dataclass(frozen=True, slots=True)
class ReceiverLimits:
    """The tolerated speed of incoming characters against the receiver's own, in per cent."""

    slow_percent: float
    fast_percent: float


def divisor(clock_hz: float, baud: float, double_speed: bool = False) -> UartSetting:
    """Return the nearest setting for `baud`: clock / (16 (UBRR + 1)), or 8 at double speed.

    clock_hz, baud: more than 0. Raises `UsageError` for other values, and for a speed so low that
    the register cannot hold its divisor. Source: datasheet 8271H, table 20-1.
    """
    if not (math.isfinite(clock_hz) and math.isfinite(baud) and clock_hz > 0 and baud > 0):
        raise UsageError(
            f"A clock of {clock_hz:g} Hz and a speed of {baud:g} baud cannot be used.",
            advice="Give both as numbers above 0.",
        )
    samples = 8 if double_speed else 16
    exact = clock_hz / (samples * baud) - 1
    if exact >= LARGEST_UBRR + 0.5:
        raise UsageError(
            f"A clock of {clock_hz:g} Hz cannot go as slow as {baud:g} baud; the least is "
            f"{math.ceil(clock_hz / (samples * (LARGEST_UBRR + 1)))}.",
            advice="Choose a higher speed, or a slower clock.",
        )
    candidates = {min(max(n, 0), LARGEST_UBRR) for n in (math.floor(exact), math.ceil(exact))}
    settings = [_setting(clock_hz, baud, samples, ubrr) for ubrr in sorted(candidates)]
    return min(settings, key=lambda setting: abs(setting.error_percent))


def _setting(clock_hz: float, baud: float, samples: int, ubrr: int) -> UartSetting:
    actual = clock_hz / (samples * (ubrr + 1))
    return UartSetting(ubrr, actual, (actual / baud - 1) * 100)


def receiver_limits(data_bits: int = 8, double_speed: bool = False) -> ReceiverLimits:
    """Return how slow and how fast a character may arrive and still be read correctly.

    data_bits: 5 to 10, including a parity bit. Rslow = (D+1) S / (S - 1 + D S + SF), Rfast = (D+2)
    S / ((D+1) S + SM), with S samples a bit, SF the first and SM the middle sample used: 16, 8, 9,
    or 8, 4, 5 at double speed. Source: DS40002061A, 20.8.3.
    """
    if not 5 <= data_bits <= 10:
        raise UsageError(
            f"A character cannot have {data_bits} data bits.",
            advice="Give 5 to 10, parity included.",
        )
    samples, first, middle = (8, 4, 5) if double_speed else (16, 8, 9)
    slow = (data_bits + 1) * samples / (samples - 1 + data_bits * samples + first)
    fast = (data_bits + 2) * samples / ((data_bits + 1) * samples + middle)
    return ReceiverLimits(slow * 100, fast * 100)


def recommended_percent(double_speed: bool = False) -> float:
    """Return the recommended largest error of a receiver, in per cent either way."""
    return RECOMMENDED_DOUBLE if double_speed else RECOMMENDED_NORMAL


def good_speeds(clock_hz: float, double_speed: bool = False) -> tuple[int, ...]:
    """Return the datasheet's usual speeds that a clock makes within the recommended error."""
    most = recommended_percent(double_speed)
    slowest = clock_hz / ((8 if double_speed else 16) * (LARGEST_UBRR + 1))
    return tuple(
        baud
        for baud in SPEEDS
        if baud >= slowest and abs(divisor(clock_hz, baud, double_speed).error_percent) <= most
    )


def speed_warning(host_baud: float, clock_hz: float, double_speed: bool = False) -> str:
    """Return a warning if the speeds of host and board differ too much, or "".

    It says whether the receiver of the board tolerates the difference, and names the nearest speed
    that fits.
    """
    setting = divisor(clock_hz, host_baud, double_speed)
    most = recommended_percent(double_speed)
    if abs(setting.error_percent) <= most:
        return ""
    limits = receiver_limits(8, double_speed)
    ratio = host_baud / setting.actual_baud * 100  # what comes in against the receiver's own speed
    is_read = limits.slow_percent < ratio < limits.fast_percent
    fate = "characters may be lost or damaged" if is_read else "the board cannot read what is sent"
    side = "faster" if setting.error_percent > 0 else "slower"
    good = good_speeds(clock_hz, double_speed)
    near = min(good, key=lambda baud: abs(math.log(baud / host_baud)), default=0)
    advice = f" Nearest speed that fits: {near} baud." if near else ""
    return (
        f"With a clock of {clock_hz / 1e6:g} MHz the board runs at {setting.actual_baud:.0f} baud, "
        f"{abs(setting.error_percent):.1f} % {side} than {host_baud:g}; at most {most} % is "
        f"recommended, so {fate}.{advice}"
    )
