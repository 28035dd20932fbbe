"""What speaks against the wire since a port was opened, and how many readings that calls for.

Everything that went otherwise than it should is noted here under a name, once, where it is noticed.
The number of readings that a proof needs follows from these notes and from nothing else.
"""

from __future__ import annotations

from collections import Counter
from enum import Enum

from hostlink.link.wire import Health

_CLEAN, _DOUBTFUL, _DAMAGED = 2, 3, 5
_DAMAGED_RATE = 0.002
# Bytes without a doubt from which a wire is called clean. Where 1 % of the bytes are damaged, two
# captures of three short lines agree one time in three, and of such pairs one in a thousand is
# damaged alike; of 1,000 bytes none agree. A third capture of so little costs next to nothing.
_CLEAN_BYTES = 1000


class Doubt(Enum):
    """One way in which the wire was seen not to carry what it was given."""

    RETYPED = "a typed line came back differently and was typed again"
    ASKED_AGAIN = "no prompt came, and the line end was sent again"
    LINE_DAMAGED = "a line of a load came back differently, or was not confirmed"
    READINGS_DIFFER = "two readings of the program differ in a line"
    NO_LINE = "a row between the lines of a listing is no line"
    OTHER_WORDS = "the rows around a listing were others than before"
    NOT_AS_SENT = "the program was read back differently"


class Evidence:
    """The notes of one open port. `health` counts the bytes that passed."""

    def __init__(self, health: Health) -> None:
        self.notes: Counter[Doubt] = Counter()
        self.disturbances = 0
        self._health = health

    def note(self, doubt: Doubt, times: int = 1) -> None:
        """Note something `times` times."""
        if times > 0:
            self.notes[doubt] += times

    def note_at_least(self, doubt: Doubt, times: int) -> None:
        """Note something that may have been counted before: together `times` times at least."""
        self.note(doubt, times - self.total)

    def disturbed(self) -> None:
        """Note that a line which could not be taken back may have been entered as another one."""
        self.disturbances += 1

    @property
    def total(self) -> int:
        """How many notes there are."""
        return self.notes.total()

    @property
    def is_clean(self) -> bool:
        """Whether nothing speaks against the wire."""
        return not self.total

    @property
    def damage_rate(self) -> float:
        """The estimated share of damaged bytes."""
        return self.total / max(1, self._health.bytes_in + self._health.bytes_out)

    def readings_needed(self, *, doubted: bool = False) -> int:
        """How many readings of an unknown program must agree.

        Two on a clean wire, three once anything was noted or while too little was heard to call the
        wire clean, five above 0.2 % of estimated damage.
        doubted: the board's own word is against the readings that were taken.
        """
        if not self.is_clean:
            return _DAMAGED if self.damage_rate > _DAMAGED_RATE else _DOUBTFUL
        return _CLEAN if self._health.bytes_in >= _CLEAN_BYTES and not doubted else _DOUBTFUL

    def agreeing_needed(self, *, echo: bool) -> int:
        """How many readings must show a program that was sent.

        Without echo nothing has watched the sending, so one reading alone proves too little.
        """
        return 1 if self.is_clean and echo else 2
