"""The EEPROM of a board: programs that survive power loss, in named slots or in a single one.

A named slot takes its name and one byte, the bytes of the program, and 2 bytes for the length. A
single slot holds the rows as listed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.kind import KindShelf
from hostlink.practice.storing import Storing

LONGEST_NAME = 8
START = "START"
"""A program of this name runs at power-on, where slots have names."""

ONLY = "ONLY"
"""The name used here for the single slot of a board without slot names."""

_NAME = re.compile(r"[A-Z0-9]{1,8}", re.ASCII)
_ROW_END_BYTES = 2


def slot_name(typed: str, shelf: KindShelf) -> str:
    """Return the slot named after a command for the EEPROM.

    Raises Complaint unless it is a name of 1 to 8 letters or digits, in quotes if the board
    requires them, or nothing if slots have no names.
    """
    name = typed.strip().upper()
    if shelf.slots == "one" and not name:
        return ONLY
    if shelf.quoted:
        name = name[1:-1] if len(name) > 2 and name[0] == name[-1] == '"' else ""
    if shelf.slots != "named" or not _NAME.fullmatch(name):
        raise Complaint(Reason.SLOT_NAME)
    return name


class Eeprom:
    """Stored programs. size: bytes in all. shelf: how they are kept. rules: how lines are kept.

    slots: name to program. writes: name to how often it was written.
    """

    def __init__(self, size: int, shelf: KindShelf, rules: Storing) -> None:
        self.size = size
        self.shelf = shelf
        self._rules = rules
        self.slots: dict[str, dict[int, bytes]] = {}
        self.writes: dict[str, int] = {}

    @property
    def starts(self) -> str:
        """Return the slot that is loaded and run at each restart, or ""."""
        name = ONLY if self.shelf.slots == "one" else START
        return name if self.shelf.runs_at_start and name in self.slots else ""

    @property
    def used(self) -> int:
        """Return the bytes that all slots take."""
        return sum(self.slot_bytes(name, lines) for name, lines in self.slots.items())

    @property
    def left(self) -> int:
        """Return the bytes that the board reports as left."""
        return (not self.slots and self.shelf.blank_left) or self.size - self.used

    def slot_bytes(self, name: str, lines: Mapping[int, bytes]) -> int:
        """Return the bytes of EEPROM that a program takes under a name."""
        if self.shelf.slots == "one":
            return sum(len(self._rules.row(*line)) + _ROW_END_BYTES for line in lines.items())
        return len(name) + 1 + self._rules.program_bytes(lines) + 2

    def check(self, name: str, lines: Mapping[int, bytes]) -> None:
        """Raise Complaint if the program would not fit under that name."""
        old = self.slots.get(name)
        used = self.used - (self.slot_bytes(name, old) if old is not None else 0)
        missing = used + self.slot_bytes(name, lines) - self.size
        if missing > 0:
            raise Complaint(Reason.SLOT_FULL, name=name, missing=missing)

    def put(self, name: str, lines: Mapping[int, bytes]) -> None:
        """Store a program, replacing one of that name. Raises Complaint if it does not fit."""
        self.check(name, lines)
        self.writes[name] = self.writes.get(name, 0) + 1
        held = dict(lines)
        if held and 0 < self.shelf.life < self.writes[name]:
            last = max(held)
            held[last] = held[last][:-1] + b"?"
        self.slots[name] = held

    def hold(self, name: str, lines: Mapping[int, bytes]) -> None:
        """Hold a program as if written long ago. Raises Complaint if that is impossible."""
        if name != ONLY if self.shelf.slots == "one" else not _NAME.fullmatch(name):
            raise Complaint(Reason.SLOT_NAME)
        self.check(name, lines)
        self.slots[name] = dict(lines)

    def get(self, name: str) -> dict[int, bytes]:
        """Return the program of that name. Raises Complaint if there is none."""
        try:
            return self.slots[name]
        except KeyError:
            raise Complaint(Reason.SLOT_EMPTY, name=name) from None

    def toss(self, name: str) -> None:
        """Delete a program. Raises Complaint if there is none of that name."""
        self.get(name)
        del self.slots[name]
