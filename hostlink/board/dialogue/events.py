"""Events that a task reports while it works: frozen values, sizes in bytes.

The command line prints them, the app displays them, tests collect them in a list.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

from hostlink.advice import Advice

_WORTH_TELLING_S = 2.0


@dataclass(frozen=True, slots=True)
class Phase:
    """A part of the work has begun; text says which ("Reading back").

    at_most_s: the longest time in seconds that it takes without faults, 0 if unknown. about_s: the
    estimated time in seconds for it and the rest of the job, 0 if unknown.
    """

    text: str
    at_most_s: float = 0.0
    about_s: float = 0.0

    @property
    def words(self) -> str:
        """Return the text, with the time if that is long enough to wait for."""
        if self.about_s:
            return f"{self.text}, about {math.ceil(self.about_s):,} s"
        if self.at_most_s < _WORTH_TELLING_S:
            return self.text
        return f"{self.text}, {math.ceil(self.at_most_s):,} s at most"


@dataclass(frozen=True, slots=True)
class LineSent:
    """The board confirmed a line. sent_bytes: bytes confirmed so far, of all_bytes."""

    number: int
    sent_lines: int
    all_lines: int
    sent_bytes: int
    all_bytes: int


@dataclass(frozen=True, slots=True)
class LineRepaired:
    """A line was damaged and is sent again. number: None if unknown."""

    number: int | None
    why: str


@dataclass(frozen=True, slots=True)
class Captured:
    """The board's program was read for the `count`-th time in this task."""

    count: int
    lines: int


@dataclass(frozen=True, slots=True)
class Warned:
    """Something the user should know while the work continues. advice: what the user may do."""

    text: str
    advice: Advice = field(default="", kw_only=True)


@dataclass(frozen=True, slots=True)
class Waiting(Warned):
    """There was no progress for `seconds`. text: what the task waits for, and until when."""

    seconds: float = 0.0


Event: TypeAlias = Phase | LineSent | LineRepaired | Captured | Warned
Emit: TypeAlias = Callable[[Event], None]


def ignore(event: Event) -> None:
    """Ignore an event; for callers that need none."""
