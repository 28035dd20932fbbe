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


Event: TypeAlias = board_events.Event | Rescued | AlreadyKept | KeptAs
Emit: TypeAlias = Callable[[Event], None]
