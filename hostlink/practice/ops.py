"""Operations that the firmware of a practice board requests from its hardware.

The firmware is a generator: it yields an operation, and the machine sends the answer when the
(virtual) time of the operation has passed. So the firmware reads like a blocking program, while the
machine can be advanced to any time and stopped there.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias


class Chore(Enum):
    """Kinds of work that take processor time; the machine knows the time of each."""

    STORE = "store"  # one line into program memory
    DIRECT = "direct"  # parsing a direct command
    STATEMENT = "statement"  # one statement of a running program
    LIST_LINE = "list line"  # preparing one line of a listing
    EEPROM_BYTE = "eeprom byte"  # writing one byte of EEPROM
    PROMPT = "prompt"  # getting ready for the next line
    WAIT = "wait"  # a millisecond that the program waits


@dataclass(frozen=True, slots=True)
class Work:
    """The time of `times` chores of one kind. Answer: True if an interrupt byte came in."""

    chore: Chore
    times: int = 1


@dataclass(frozen=True, slots=True)
class Send:
    """Put bytes on the line to the host. Answer: False."""

    data: bytes


@dataclass(frozen=True, slots=True)
class ReadLine:
    """Show `prompt` and take a line. Answer: its bytes, or None if interrupted."""

    prompt: bytes


@dataclass(frozen=True, slots=True)
class ReadKey:
    """Show `prompt` and wait for a key. Answer: False, or True if interrupted."""

    prompt: bytes


Op: TypeAlias = Work | Send | ReadLine | ReadKey
Answer: TypeAlias = "bytes | bool | None"
Firmware: TypeAlias = Generator[Op, Answer, None]
