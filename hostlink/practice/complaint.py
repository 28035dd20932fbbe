"""The reasons why the firmware cannot continue. The words for each are those of the kind."""

from __future__ import annotations

from enum import Enum


class Reason(Enum):
    """The reasons for a complaint; each value is the key of its text in a kind's file."""

    PUZZLED = "puzzled"  # fits no rule of the language; {rest}: what stands there
    SHORT = "short"  # the line ends too soon
    UNKNOWN = "unknown"  # no statement begins like that; {rest}
    QUOTE = "quote"  # a closing quote is missing
    BRACKETS = "brackets"  # too many open
    RANGE = "range"  # a number does not fit
    DIVISION = "division"  # by 0
    RANDOM = "random"  # a random number below 1 is asked for
    PIN = "pin"  # {pin} is not there, or not for that
    NO_LINE = "no-line"  # a jump to {number}, which is not there
    NEXT = "next"  # NEXT without FOR
    RETURN = "return"  # RETURN without GOSUB
    FORS = "fors"  # more than {most} open
    GOSUBS = "gosubs"  # more than {most} open
    DATA = "data"  # READ, and no data is left
    ELEMENT = "element"  # not of that array
    TEXT = "text"  # of more than {most} characters
    LINE_NUMBER = "line-number"  # not {first} to {last}
    FULL = "full"  # memory is; line {number} needs {missing} bytes more
    PROGRAM_FULL = "program-full"  # a whole program needs {missing} bytes more
    SLOT_NAME = "slot-name"  # no name for a stored program
    SLOT_FULL = "slot-full"  # EEPROM is; {name} needs {missing} bytes more
    SLOT_EMPTY = "slot-empty"  # nothing stored as {name}
    NO_PROGRAM = "no-program"  # nothing in memory to store

    @property
    def fields(self) -> tuple[str, ...]:
        """Return the names in { } that its text may hold, besides those of every message."""
        return _FIELDS.get(self, ())


_FIELDS = {
    Reason.PUZZLED: ("rest",),
    Reason.UNKNOWN: ("rest",),
    Reason.PIN: ("pin",),
    Reason.NO_LINE: ("number",),
    Reason.FORS: ("most",),
    Reason.GOSUBS: ("most",),
    Reason.TEXT: ("most",),
    Reason.LINE_NUMBER: ("first", "last"),
    Reason.FULL: ("number", "missing"),
    Reason.PROGRAM_FULL: ("missing",),
    Reason.SLOT_FULL: ("name", "missing"),
    Reason.SLOT_EMPTY: ("name",),
}


class Complaint(Exception):
    """A program or command cannot continue.

    at: the place in the line, in characters, or -1 if unknown.
    """

    def __init__(self, reason: Reason, at: int = -1, **fields: object) -> None:
        super().__init__(reason.value)
        self.reason = reason
        self.at = at
        self.fields = fields

    @property
    def lacks(self) -> str:
        """Return the word in question if a real board has it, else ""."""
        return str(self.fields.get("lacks", ""))

    def again(self) -> Complaint:
        """Return an equal complaint, to raise it again for the same line."""
        return Complaint(self.reason, self.at, **self.fields)


def excerpt(rest: str) -> str:
    """Return the start of a text for display."""
    return "".join(c if " " <= c <= "~" else "." for c in rest[:10])
