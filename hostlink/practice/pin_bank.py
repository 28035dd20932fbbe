"""The pins of a practice board: the outputs of a program, and the inputs that it reads."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from hostlink.pins import Pins
from hostlink.practice.complaint import Complaint, Reason

MOST_CHANGES = 20_000
"""Changes of pins that are kept of a run, the first ones."""
ANALOG = "ADC"
"""Begins the name of an analog input, as in the chip's data sheet."""


@dataclass(frozen=True, slots=True)
class PinInput:
    """An input from outside: the level of a pin from a time on, in ms.

    pin: "2", or "ADC0" for an analog input.
    """

    ms: float
    pin: str
    value: int


@dataclass(frozen=True, slots=True)
class PinChange:
    """An output. what: "on" (value 0 or 1), "width" or "tone" (hertz, for some ms)."""

    ms: float
    pin: str
    what: str
    value: int
    for_ms: int = 0


class PinBank:
    """All pins of one board.

    now: tells the time in ms. changes: the outputs since the program began that differ from those
    before. asked: names of the pins that were read.
    """

    def __init__(self, pins: Pins) -> None:
        self.pins = pins
        self.now: Callable[[], float] = lambda: 0.0
        self.clear()

    def clear(self) -> None:
        """Switch all pins off, and disconnect all inputs."""
        self.levels: dict[str, int] = {}
        self.out: dict[str, PinChange] = {}
        self.asked: dict[str, None] = {}
        self._script: deque[PinInput] = deque()
        self.begin()

    def begin(self) -> None:
        """Forget the changes of the previous program; the next one's times count from now."""
        self.changes: list[PinChange] = []
        self._began, self._ended = self.now(), math.inf

    def end(self) -> None:
        """Note that the program has ended."""
        self._ended = min(self._ended, self.now())

    @property
    def ms(self) -> float:
        """Return how long the program has run."""
        return round(min(self._ended, self.now()) - self._began, 3)

    @property
    def missing(self) -> str:
        """Return a sentence on the changes that were not kept, "" if all were."""
        full = len(self.changes) == MOST_CHANGES
        return f"Only the first {MOST_CHANGES:,} changes of pins are kept." if full else ""

    def connect(self, script: Iterable[PinInput]) -> None:
        """Schedule inputs, each at its time."""
        self._script = deque(sorted([*self._script, *script], key=lambda each: each.ms))

    def level(self, name: str) -> int:
        """Return the level at a pin: the input from outside, else the last output, else 0."""
        now = self.now()
        while self._script and self._script[0].ms <= now:
            one = self._script.popleft()
            self.levels[one.pin] = one.value
        put = self.out.get(name)
        return self.levels.get(name, put.value if put is not None else 0)

    def get(self, name: str, pin: int) -> int:
        """Read a pin. name: "read" or "analog". Raises Complaint if there is no such pin."""
        if not self.pins.takes(name, "pin", pin):
            raise Complaint(Reason.PIN, pin=pin, rest=pin)
        key = f"{ANALOG}{pin}" if name == "analog" else str(pin)
        self.asked[key] = None
        level = self.level(key)
        return min(level, self.pins.analog_most) if name == "analog" else int(level != 0)

    def put(self, pin: str, what: str, value: int, for_ms: int = 0) -> None:
        """Set the output of a pin, and note the change. Parameters: see `PinChange`."""
        change = PinChange(self.ms, pin, what, value, for_ms)
        before = self.out.get(pin)
        self.out[pin] = change
        same = before is not None and (before.what, before.value) == (what, value)
        if (same or (before is None and not value)) and what != "tone":
            return
        if len(self.changes) < MOST_CHANGES:
            self.changes.append(change)
