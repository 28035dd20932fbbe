"""What a task reports while it works. The command line draws these, the app shows them, tests
collect them in a list. All are plain frozen values; sizes in bytes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

from hostlink.advice import Advice

_WORTH_TELLING_S = 2.0


@dataclass(frozen=True, slots=True)
class Phase:
    """A part of the work has begun, told in words ("Reading back").

    at_most_s: seconds that it takes at most where nothing goes wrong, 0 where that is not known.
    about_s: seconds that it and all that follows in this job take, more or less; 0: not known.
    """

    text: str
    at_most_s: float = 0.0
    about_s: float = 0.0

    @property
    def words(self) -> str:
        """What has begun, and how long it takes where that is long enough to wait for."""
        if self.about_s:
            return f"{self.text}, about {math.ceil(self.about_s):,} s"
        if self.at_most_s < _WORTH_TELLING_S:
            return self.text
        return f"{self.text}, {math.ceil(self.at_most_s):,} s at most"


@dataclass(frozen=True, slots=True)
class LineSent:
    """The board confirmed a line. sent_bytes of all_bytes are confirmed now."""

    number: int
    sent_lines: int
    all_lines: int
    sent_bytes: int
    all_bytes: int


@dataclass(frozen=True, slots=True)
class LineRepaired:
    """A line did not come back as sent and was, or will be, sent again. number None: not known."""

    number: int | None
    why: str


@dataclass(frozen=True, slots=True)
class Captured:
    """The board's program was read for the `count`-th time in this task."""

    count: int
    lines: int


@dataclass(frozen=True, slots=True)
class Warned:
    """Something the user should know, though the work goes on. advice: what may be done."""

    text: str
    advice: Advice = field(default="", kw_only=True)


@dataclass(frozen=True, slots=True)
class Waiting(Warned):
    """Nothing has moved on for `seconds`; the text says what is waited for, and until when."""

    seconds: float = 0.0


Event: TypeAlias = Phase | LineSent | LineRepaired | Captured | Warned
Emit: TypeAlias = Callable[[Event], None]


def ignore(event: Event) -> None:
    """A listener for callers that want no events."""
