"""Events reported by jobs, besides those of hostlink.board.dialogue.events."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

from hostlink.advice import Advice
from hostlink.board.dialogue import events as board_events
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.model import Profile
from hostlink.sentences import last_known
from hostlink.words import capital


@dataclass(frozen=True, slots=True)
class Rescued:
    """The program on the board was new to the archive and was kept. spec: such as rescue@3."""

    spec: str
    lines: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class AlreadyKept:
    """The program on the board is already in the archive as `spec`."""

    spec: str


@dataclass(frozen=True, slots=True)
class KeptAs:
    """A listing was kept. is_new: False if the archive already held it as this revision."""

    spec: str
    is_new: bool
    size_bytes: int


@dataclass(frozen=True, slots=True)
class BackupKept:
    """A backup was kept as `spec`. items: the names of its items."""

    spec: str
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BoardAnswered:
    """What the board answered before a firmware write, and what the image expects."""

    answer: str
    expected: str


@dataclass(frozen=True, slots=True)
class PagesRead:
    """`done` of `pages` pages of flash were read, each with two equal readings."""

    done: int
    pages: int


@dataclass(frozen=True, slots=True)
class PageProven:
    """A page was written and read back: `done` of the `pages` to write. page: its number."""

    done: int
    pages: int
    page: int


def put_back_advice(spec: str) -> Advice:
    """Return how to put a lost program back. spec: the program in the archive, "" if unknown."""
    if not spec:
        return ""
    return lambda by: f"{capital(last_known(spec))}; put it back {by.load(spec)}."


@dataclass(frozen=True, slots=True)
class MemoryLost(Warned):
    """A board lost its memory. spec: the program to load to get it back, "" if unknown."""

    spec: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "advice", put_back_advice(self.spec))


@dataclass(frozen=True, slots=True)
class BoardRecognised(Warned):
    """hostlink found out how a board talks or changes lines. profile: used from now on."""

    profile: Profile = field(default_factory=lambda: Profile(""))


@dataclass(frozen=True, slots=True)
class BoardVanished(Warned):
    """A board whose port was kept open has gone; hostlink waits for it."""


@dataclass(frozen=True, slots=True)
class BoardReturned(Warned):
    """A board that had gone is attached again."""


@dataclass(frozen=True, slots=True)
class RowPrinted:
    """A program printed a row. The text is as sent by the board, with its control characters."""

    text: str


@dataclass(frozen=True, slots=True)
class RowOpen:
    """The unfinished row of a program so far: a question, if the program then waits."""

    text: str


@dataclass(frozen=True, slots=True)
class InputTyped:
    """An answer is about to be typed; on most boards its echo becomes part of the row."""

    text: str


@dataclass(frozen=True, slots=True)
class ProgramFailed:
    """A program that was started by a typed line ended with an error, which the board has shown.

    message: the board's words. number: of the line that the error names.
    """

    message: str
    number: int


FirmwareEvent: TypeAlias = BackupKept | BoardAnswered | PagesRead | PageProven
RunEvent: TypeAlias = RowPrinted | RowOpen | InputTyped | ProgramFailed
Event: TypeAlias = board_events.Event | Rescued | AlreadyKept | KeptAs | FirmwareEvent | RunEvent
Emit: TypeAlias = Callable[[Event], None]
