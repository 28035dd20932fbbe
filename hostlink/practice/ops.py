"""What the practice board's firmware may ask of its hardware.

The firmware is a generator: it yields one of these, and the machine sends the answer back in once
the (virtual) time it costs has passed. So the firmware reads like a program that blocks, while
the machine can be advanced to any moment and stopped there.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias


class Chore(Enum):
    """Kinds of work that take the processor's time; the machine knows how long each takes."""

    STORE = "store"  # one line into program memory
    DIRECT = "direct"  # taking a direct command apart
    STATEMENT = "statement"  # one statement of a running program
    LIST_LINE = "list line"  # preparing one line of a listing
    EEPROM_BYTE = "eeprom byte"  # writing one byte of EEPROM
    PROMPT = "prompt"  # getting ready for the next line


@dataclass(frozen=True, slots=True)
class Work:
    """Be busy with `times` chores of one kind. Answer: True if an interrupt byte came in."""

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
