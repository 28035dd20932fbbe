"""A practice board on a virtual clock, with a profile that fits it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Event
from hostlink.board.profile.model import Commands, Profile, Talk
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire
from hostlink.listing.parse import Line, Listing
from hostlink.listing.rules import Rules, Storage
from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

BANNER = "practice board,"


@dataclass
class Bench:
    """One board, its wire and a dialogue with it. events: everything the dialogue told."""

    machine: Machine
    wire: Wire
    dialogue: Dialogue
    events: list[Event] = field(default_factory=list)

    @property
    def held(self) -> dict[int, str]:
        """What the board really holds, read from its memory and not over the wire."""
        return {n: text.decode("latin-1") for n, text in self.machine.basic.lines.items()}

    def told(self, kind: type[Any]) -> list[Any]:
        """The events of one kind."""
        return [event for event in self.events if isinstance(event, kind)]

    def put(self, text: str) -> None:
        """Store lines in the board's memory behind the wire's back."""
        basic = self.machine.basic
        lines = Listing.from_text(text).numbered()
        basic.from_state({**basic.to_state(), "lines": {str(n): v.text for n, v in lines.items()}})


def fitting_talk(board: BoardSettings, **changes: Any) -> Talk:
    """How a practice board talks, as a profile tells it; `changes` make it tell something else."""
    talk = Talk(
        baud=board.baud,
        echo=board.echo,
        prompt=board.prompt,
        line_end=board.line_end,
        reply_end=board.reply_end,
        line_done=board.line_done,
        after_prompt_ms=board.line_ms + 2 if board.line_done == "after-prompt" else 0,
        receive_buffer=board.receive_buffer,
        line_ms=board.line_ms,
        char_ms=board.char_ms,
        line_window=0,
        line_cancel=board.line_cancel,
        erase=board.erase,
        banner=BANNER,
        restarts_on_open=board.restarts_on_open,
        restart_ms=board.restart_ms,
        page_prompt=board.page_prompt.decode() if board.page_lines else "",
        page_key=b" " if board.page_lines else b"",
    )
    return dataclasses.replace(talk, **changes)


def make_bench(
    board: BoardSettings | None = None,
    faults: Faults | None = None,
    *,
    host_baud: int | None = None,
    free_memory: str = "PRINT ROOM()",
    commands: Commands | None = None,
    **talk: Any,
) -> Bench:
    """A board with its wire; `talk` changes what the profile says of it."""
    board = board or BoardSettings()
    clock = VirtualClock()
    machine = Machine(board, faults, host_baud=host_baud)
    told = fitting_talk(board, **talk)
    profile = Profile(
        "practice",
        talk=told,
        commands=commands or Commands(free_memory=free_memory),
        rules=Rules(storage=Storage(program_bytes=board.program_bytes)),
    )
    port = PracticePort(machine, clock, jump=clock.advance_to)
    wire = Wire(port, clock, banner=told.banner.encode("latin-1"))
    events: list[Event] = []
    return Bench(machine, wire, Dialogue(wire, profile, events.append), events)


@pytest.fixture
def bench() -> Callable[..., Bench]:
    """Build a board, its wire and a dialogue: see `make_bench`."""
    return make_bench


@pytest.fixture
def program() -> Callable[[str], dict[int, Line]]:
    """A listing as line number to line."""
    return lambda text: Listing.from_text(text).numbered()
