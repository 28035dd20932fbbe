"""Simulated faults of a wire and its board, reproducible by their seed."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from dataclasses import dataclass

_SMALLEST_RATE = 1e-12  # nobody sends that many bytes, and the logarithm stays a number


@dataclass(frozen=True, slots=True)
class Faults:
    """Faults of one wire and its board.

    to_board, to_host: share of bytes damaged in each direction (0.001 is one in a thousand), each
    dropped, doubled or with one or more bits flipped, at equal odds.
    stall_every_bytes, stall_s: the board's processor stops for stall_s after that many bytes heard.
    restart_after_bytes, unplug_after_bytes, flood_after_bytes: happens once, after that many bytes
    came from the host; a flooding board sends without end. All 0 for never.

    What the board says may be untrue (hostlink.practice.reported_memory). skipped_line,
    repeated_line: place of the line, from 1, that LIST leaves out or shows twice; lies_every: only
    in one LIST of that many (0 and 1: in each). refused_lists, empty_lists: how many of the first
    LISTs are answered by WHAT?, or by nothing. free_bytes_off: bytes by which the reported free
    memory is too small. forgets_every: of that many stored lines one is lost silently; 0: none.
    escapes: error messages end with control characters. worn_page: page of flash, from 1, whose
    first byte can no longer be changed.
    """

    seed: int = 0
    to_board: float = 0.0
    to_host: float = 0.0
    stall_every_bytes: int = 0
    stall_s: float = 0.0
    restart_after_bytes: int = 0
    unplug_after_bytes: int = 0
    flood_after_bytes: int = 0
    skipped_line: int = 0
    repeated_line: int = 0
    lies_every: int = 0
    refused_lists: int = 0
    empty_lists: int = 0
    free_bytes_off: int = 0
    forgets_every: int = 0
    escapes: bool = False
    worn_page: int = 0


@dataclass(frozen=True, slots=True)
class Erased:
    """A restart. at: seconds. pulled: the host did it. lines: what memory held then."""

    at: float
    pulled: bool
    lines: dict[int, bytes]


class Damage:
    """Damages a stream of bytes; the distance to the next fault is drawn in advance."""

    def __init__(self, rate: float, seed: int) -> None:
        self._rate = rate
        self._random = random.Random(seed)
        self.count = 0
        self._left = self._distance()

    def _distance(self) -> int:
        if self._rate < _SMALLEST_RATE:
            return -1
        if self._rate >= 1:
            return 0
        draw = 1.0 - self._random.random()
        return int(math.log(draw) / math.log1p(-self._rate))

    def of(self, byte: int) -> Iterable[int]:
        """Return what arrives in place of one byte: nothing, one byte or two."""
        if self._left < 0:
            return (byte,)
        if self._left > 0:
            self._left -= 1
            return (byte,)
        self._left = self._distance()
        self.count += 1
        kind = self._random.randrange(3)
        if kind == 0:
            return ()
        if kind == 1:
            return (byte, byte)
        return (byte ^ self._random.randrange(1, 256),)
