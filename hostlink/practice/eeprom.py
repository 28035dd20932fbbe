"""The board's EEPROM: a few programs that outlive the power, on a shelf of named slots.

A slot takes its name and one byte, the program's bytes, and 2 bytes for the length.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from hostlink.practice.complaint import Complaint
from hostlink.practice.program_memory import program_bytes

LONGEST_NAME = 8
START = "START"
"""A program of this name runs at power-on."""

_NAME = re.compile(r"[A-Z0-9]{1,8}", re.ASCII)


def slot_bytes(name: str, lines: Mapping[int, bytes]) -> int:
    """Bytes of EEPROM that a program takes under a name."""
    return len(name) + 1 + program_bytes(lines) + 2


def slot_name(typed: str) -> str:
    """The name in capitals. Raises Complaint unless it is 1 to 8 letters or digits."""
    name = typed.strip().upper()
    if not _NAME.fullmatch(name):
        raise Complaint(f"a name is 1 to {LONGEST_NAME} letters or digits")
    return name


class Eeprom:
    """Named programs. size: bytes in all."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.slots: dict[str, dict[int, bytes]] = {}

    @property
    def used(self) -> int:
        """Bytes taken by all slots."""
        return sum(slot_bytes(name, lines) for name, lines in self.slots.items())

    def check(self, name: str, lines: Mapping[int, bytes]) -> None:
        """Raise Complaint if the program would not fit under that name."""
        old = self.slots.get(name)
        used = self.used - (slot_bytes(name, old) if old is not None else 0)
        missing = used + slot_bytes(name, lines) - self.size
        if missing > 0:
            raise Complaint(f"shelf full, {name} needs {missing} more")

    def put(self, name: str, lines: Mapping[int, bytes]) -> None:
        """Keep a program, in place of any of that name. Raises Complaint if it does not fit."""
        self.check(name, lines)
        self.slots[name] = dict(lines)

    def get(self, name: str) -> dict[int, bytes]:
        """The program of that name. Raises Complaint if there is none."""
        try:
            return self.slots[name]
        except KeyError:
            raise Complaint(f"nothing on the shelf called {name}") from None

    def toss(self, name: str) -> None:
        """Forget a program. Raises Complaint if there is none of that name."""
        self.get(name)
        del self.slots[name]
