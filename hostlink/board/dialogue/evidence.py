"""Collect the evidence of damage on one wire, and derive from it how many readings a proof needs.

Every irregularity is noted once, under a name, where it is noticed. The number of readings follows
from these notes only.
"""

from __future__ import annotations

from collections import Counter
from enum import Enum

from hostlink.link.wire import Health
from hostlink.sentences import MAY_HAVE_ONE_MORE

_CLEAN, _DOUBTFUL, _DAMAGED = 2, 3, 5
_DAMAGED_RATE = 0.002
# Bytes that must pass without a sign of damage before a wire counts as clean. Where 1 % of the
# bytes are damaged, two captures of three short lines agree one time in three, and one such pair in
# a thousand is damaged alike; captures of 1,000 bytes never agree. A third capture of so little
# costs next to nothing.
_CLEAN_BYTES = 1000


class DamageSign(Enum):
    """A kind of evidence that the wire damages what passes over it."""

    RETYPED = "a typed line came back differently and was typed again"
    ASKED_AGAIN = "no prompt came, and the line end was sent again"
    LINE_DAMAGED = "a line of a load came back differently, or was not confirmed"
    READINGS_DIFFER = "two readings of the program differ in a line"
    NO_LINE = "a row between the lines of a listing is not a line"
    OUT_OF_ORDER = "a line of a listing is out of order"
    OTHER_WORDS = "the rows around a listing changed"
    NOT_AS_SENT = "the program was read back differently"


class Evidence:
    """The signs of damage noted at one open port. health: counts the bytes that passed."""

    def __init__(self, health: Health) -> None:
        self.notes: Counter[DamageSign] = Counter()
        self.disturbances = 0
        self._health = health

    def note(self, sign: DamageSign, times: int = 1) -> None:
        """Note a sign of damage `times` times."""
        if times > 0:
            self.notes[sign] += times

    def note_at_least(self, sign: DamageSign, times: int) -> None:
        """Note signs that may have been counted already: the total becomes at least `times`."""
        self.note(sign, times - self.total)

    def disturbed(self) -> None:
        """Note that typed text which could not be taken back may have been stored as a line."""
        self.disturbances += 1

    @property
    def total(self) -> int:
        """Return how many signs of damage were noted."""
        return self.notes.total()

    @property
    def is_clean(self) -> bool:
        """Return whether there is no evidence against the wire."""
        return not self.total

    @property
    def damage_rate(self) -> float:
        """Return the estimated share of damaged bytes."""
        return self.total / max(1, self._health.bytes_in + self._health.bytes_out)

    def unless_damaged(self, unchanged: str) -> str:
        """Return `unchanged`, or on a damaging wire the sentence that a line may have been added.

        A command is stored as a line if its first letter arrives as a digit.
        """
        return unchanged if self.is_clean else MAY_HAVE_ONE_MORE

    def readings_needed(self, *, doubted: bool = False) -> int:
        """Return how many readings of an unknown program must agree.

        Two on a clean wire; three once anything was noted, or while too few bytes were heard to
        call the wire clean; five above 0.2 % of estimated damage. doubted: the board's free memory
        contradicts the readings so far.
        """
        if not self.is_clean:
            return _DAMAGED if self.damage_rate > _DAMAGED_RATE else _DOUBTFUL
        return _CLEAN if self._health.bytes_in >= _CLEAN_BYTES and not doubted else _DOUBTFUL

    def agreeing_needed(self, *, echo: bool) -> int:
        """Return how many readings must show a program that was sent.

        Without echo nothing has checked the sending, so one reading proves too little.
        """
        return 1 if self.is_clean and echo else 2
