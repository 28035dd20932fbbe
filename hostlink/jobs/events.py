"""What jobs report beside the events of the board (hostlink.board.dialogue.events)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

from hostlink.advice import Advice
from hostlink.board.dialogue import events as board_events
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.model import Profile


@dataclass(frozen=True, slots=True)
class Rescued:
    """What the board held was not in the archive yet and was kept. spec: e.g. rescue@3."""

    spec: str
    lines: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class AlreadyKept:
    """What the board held is in the archive already, as `spec`."""

    spec: str


@dataclass(frozen=True, slots=True)
class KeptAs:
    """A listing was kept. is_new is False where the archive held it as this revision before."""

    spec: str
    is_new: bool
    size_bytes: int


@dataclass(frozen=True, slots=True)
class BackupKept:
    """A backup was kept as `spec`, with the items of these names."""

    spec: str
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BoardAnswered:
    """What the board answered before firmware is written, beside what the image expects."""

    answer: str
    expected: str


@dataclass(frozen=True, slots=True)
class PagesRead:
    """`done` of all pages of flash were read, each twice the same."""

    done: int
    pages: int


@dataclass(frozen=True, slots=True)
class PageProven:
    """A page was written and read back; `done` of the `pages` that have to be."""

    done: int
    pages: int


def put_back_advice(spec: str) -> Advice:
    """How the program that a board lost is put back. spec: what it is kept as; "" gives none."""
    if not spec:
        return ""
    return lambda by: f"Its last known program is kept as {spec}; put it back {by.load(spec)}."


@dataclass(frozen=True, slots=True)
class MemoryLost(Warned):
    """A board restarted or had no supply. spec: what it held as it can be loaded again, else ""."""

    spec: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "advice", put_back_advice(self.spec))


@dataclass(frozen=True, slots=True)
class BoardRecognised(Warned):
    """How a board talks, or what it does to lines, was found out. profile: by which it is talked to
    from now on."""

    profile: Profile = field(default_factory=lambda: Profile(""))


@dataclass(frozen=True, slots=True)
class BoardVanished(Warned):
    """A board whose port is kept open is not there any more; it is waited for."""


@dataclass(frozen=True, slots=True)
class BoardReturned(Warned):
    """A board that had vanished is attached again."""


@dataclass(frozen=True, slots=True)
class RowPrinted:
    """A program printed a row. The text is as the board sent it, control characters and all."""

    text: str


@dataclass(frozen=True, slots=True)
class RowOpen:
    """The row that a program has not ended, as far as it came: a question, if it then waits."""

    text: str


@dataclass(frozen=True, slots=True)
class InputTyped:
    """An answer is typed to the program; on most boards its echo comes as part of the row."""

    text: str


FirmwareEvent: TypeAlias = BackupKept | BoardAnswered | PagesRead | PageProven
RunEvent: TypeAlias = RowPrinted | RowOpen | InputTyped
Event: TypeAlias = board_events.Event | Rescued | AlreadyKept | KeptAs | FirmwareEvent | RunEvent
Emit: TypeAlias = Callable[[Event], None]
