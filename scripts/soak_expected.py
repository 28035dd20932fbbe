"""How many silent errors the voting rules let through on average, worked out and not measured.

The formulas are those of tests/board/test_faulty_wire.py: for damage p a byte and B bytes of
listing, and with s(k) = 2 (p/3)^k + 255 (p/765)^k, a capture passes a wrong listing with
B s(2) / (1-p)^2 (two captures; B 255 (p/765)^2 / (1-p)^2 where free memory was asked too), 4 B s(3)
or 5 B s(4); a load with B (p/3)(2p/3)(2p/3), without echo or on a wire known to be damaged
B (p/3) 4 (2p/3)^2.
"""

from __future__ import annotations

import math

Lines = dict[int, str]


def size_of(program: Lines) -> int:
    """Return the bytes of a listing, line ends included."""
    return sum(len(f"{number} {text}") + 2 for number, text in program.items())


def expected_in_capture(program: Lines, p: float, need: int, *, witness: bool) -> float:
    """How many wrong readings of a program are accepted, on average. witness: of free memory."""
    share = undetected_share(p, need)
    if need > 2 or not witness:
        return size_of(program) * share
    flipped = size_of(program) * 255 * (p / 765) ** 2 / (1 - p) ** 2
    # The digits of line numbers cost the board the same memory however many they are.
    return flipped + sum(len(str(number)) for number in program) * share


def expected_in_load(program: Lines, p: float, *, echo: bool, clean: bool) -> float:
    """How many wrongly stored programs a read-back accepts, on average.

    echo: whether the board echoes. clean: whether nothing has disagreed on this wire so far.
    """
    stored, mended = p / 3, 2 * p / 3
    if echo and clean:
        return size_of(program) * stored * mended * mended
    return size_of(program) * stored * (mended if echo else 1) * 4 * mended**2


def undetected_share(p: float, need: int) -> float:
    """For each byte of a listing, the chance that a wrong reading is accepted."""

    def alike(times: int) -> float:
        return 2 * (p / 3) ** times + 255 * (p / 765) ** times

    if need == 2:
        return alike(2) / (1 - p) ** 2
    return 4 * alike(3) if need == 3 else 5 * alike(4)


def most_undetected(expected: float) -> int:
    """The number of silent errors that chance exceeds once in a thousand runs (Poisson)."""
    term = total = math.exp(-expected)
    count = 0
    while total < 0.999:
        count += 1
        term *= expected / count
        total += term
    return count
