"""What jobs report beside the events of the board (hostlink.board.events)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from hostlink.board import events as board_events


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


FirmwareEvent: TypeAlias = BackupKept | BoardAnswered | PagesRead | PageProven
Event: TypeAlias = board_events.Event | Rescued | AlreadyKept | KeptAs | FirmwareEvent
Emit: TypeAlias = Callable[[Event], None]
