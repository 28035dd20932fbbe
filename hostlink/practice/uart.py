"""The serial line as a chip sees it: byte times, and what another speed makes of a byte."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

BITS_PER_BYTE = 10  # 8N1: start, eight data bits, stop
SPEED_TOLERANCE = 0.045  # DS40002061A table 20-2: beyond about 4.5 % the last data bit is misread


def byte_time(baud: int) -> float:
    """Return seconds that one byte takes on the wire at 8N1."""
    return BITS_PER_BYTE / baud


def speeds_match(sent_baud: int, heard_baud: int) -> bool:
    """Return whether a receiver set to heard_baud reads bytes sent at sent_baud correctly."""
    return abs(sent_baud / heard_baud - 1) < SPEED_TOLERANCE


def heard_at_other_speed(
    data: Iterable[int], sent_baud: int, heard_baud: int
) -> Iterator[tuple[float, int]]:
    """Return what a receiver at the wrong speed makes of bytes sent in one run.

    Yields (seconds after the start of the run, byte). The receiver waits for a falling edge, then
    takes the middle of each following bit; it does not check the stop bit, as on cheap chips.
    """
    levels: list[int] = []
    for byte in data:
        levels += [0, *((byte >> bit) & 1 for bit in range(8)), 1]
    end = len(levels) / sent_baud

    def level(at: float) -> int:
        index = int(at * sent_baud)
        return levels[index] if index < len(levels) else 1

    bit = 1 / heard_baud
    step = min(1 / sent_baud, bit) / 4
    at = 0.0
    while at < end:
        if level(at) == 1:
            at += step
            continue
        value = sum(level(at + (1.5 + place) * bit) << place for place in range(8))
        at += 9.5 * bit
        yield at, value
        while at < end and level(at) == 0:
            at += step
