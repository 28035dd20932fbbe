"""The tables of states: what they say, and that the cores make these moves and no others."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from hostlink.link.attaching import Waking
from hostlink.link.exchange import Exchange, Reach
from hostlink.link.pacing import Pacing
from hostlink.link.probe import Probe
from hostlink.link.regain import Regain
from hostlink.link.running import Running
from hostlink.link.sender import Sender
from hostlink.link.states import (
    EXCHANGE,
    PROBE,
    REGAIN,
    RUNNING,
    SENDER,
    STOPPING,
    TAKING_BACK,
    TYPED,
    WAKING,
    CoreState,
    Course,
    Moves,
)
from hostlink.link.stopping import Stopping
from hostlink.link.taking_back import TakingBack
from hostlink.link.typed import Outcome, Typed

ERASING = Pacing(prompt=b"> ", erase=b"\x08", line_s=0.01)
INTERRUPTING = replace(ERASING, interrupt=b"\x03")
CANCELLING = Pacing(prompt=b"> ", line_cancel=b"\x15", line_s=0.01)
FLOWING = Pacing(prompt=b"> ", receive_buffer=16, xon_xoff=True)
TABLES = pytest.mark.parametrize(
    "moves",
    [TYPED, EXCHANGE, SENDER, RUNNING, REGAIN, STOPPING, WAKING, PROBE, TAKING_BACK],
    ids=[
        "typed",
        "exchange",
        "sender",
        "running",
        "regain",
        "stopping",
        "waking",
        "probe",
        "taking_back",
    ],
)


@TABLES
def test_every_state_of_a_table_is_reached_and_comes_to_an_end(moves: Moves) -> None:
    """No state stands in a table in vain, and none is a place that nothing leaves."""
    reached = {next(iter(moves))}
    for _ in CoreState:
        reached |= {to for state in reached for to in moves.get(state, ())}
    assert reached >= set(moves)
    for start in moves:
        ways = {start}
        for _ in CoreState:
            ways |= {to for state in ways for to in moves.get(state, ())}
        assert ways - set(moves), f"{start} never ends"


@TABLES
def test_a_move_that_is_not_in_the_table_is_refused(moves: Moves) -> None:
    """Each pair of states is a move or an error; a refused one leaves the state as it was."""
    for start in moves:
        for to in CoreState:
            course = Course(moves)
            course.state = start
            if to in moves[start]:
                course.move(to)
                assert course.ended == (to not in moves)
                continue
            with pytest.raises(AssertionError, match=f"from {start.value} to {to.value}"):
                course.move(to)
            assert course.state is start


def drive(core: Any, board: random.Random, words: list[bytes]) -> None:
    """Answer a core at random: for a while by a mix of echoes, `words` and silence, then by one."""
    now, echo, manner = 0.0, b"", "mixed"
    for turn in range(400):
        if turn % 130 == 0:
            manner = board.choice(["mixed", "mixed", "mixed", "printing", "silent"])
        given = board.choice([echo, echo, echo, b"", *words])
        if manner != "mixed":
            given = board.choice(words) if manner == "printing" else b""
        step = core.step(now, given)
        if core.done:
            return
        echo = step.write.replace(b"\r", b"\r\n> ").replace(b"\x15", b"\r\n> ")
        now = now + 0.02 if given or step.wake is None else max(now + 0.02, step.wake)


class SlowPerson:
    """A person whose answer is there each third time that hostlink looks."""

    live = True

    def __init__(self) -> None:
        self._looks = 0

    def take(self) -> bytes | None:
        """Return the answer, or None while the person thinks."""
        self._looks += 1
        return b"5" if self._looks % 3 == 0 else None


def running() -> Running:
    """Return a run of a program that asks a slow person."""
    return Running(
        b"RUN",
        ERASING,
        SlowPerson(),
        longest_s=30.0,
        most_bytes=4000,
        heard=lambda _: None,
    )


CORES: list[tuple[Moves, Callable[[], Any]]] = [
    (TYPED, lambda: Typed(b"RUN", replace(ERASING, full_sign=b"?OM"))),
    (TYPED, lambda: Typed(b"RUN", CANCELLING, longest_s=0.5)),
    (EXCHANGE, lambda: Exchange(b"LIST", CANCELLING, Reach(attempts=3))),
    (SENDER, lambda: Sender([b"10 A", b"20 B"], FLOWING)),
    (RUNNING, running),
    (REGAIN, lambda: Regain(INTERRUPTING, may_interrupt=True)),
    (REGAIN, lambda: Regain(CANCELLING, may_interrupt=False)),
    (STOPPING, lambda: Stopping(INTERRUPTING)),
    (STOPPING, lambda: Stopping(replace(ERASING, interrupt=b""))),
    (WAKING, lambda: Waking(ERASING, banner=b"", restart_s=2.0, questions=[b"?"])),
    (PROBE, lambda: Probe(b"RUN\r", 0.001, quiet_s=0.1, longest_s=1.0)),
    (TAKING_BACK, lambda: TakingBack(ERASING, 3)),
]


def test_the_cores_make_every_move_of_their_tables(monkeypatch: pytest.MonkeyPatch) -> None:
    """Boards that answer at random: each move happens, and one beyond the tables would raise."""
    made: set[tuple[int, CoreState, CoreState]] = set()
    move = Course.move

    def note(course: Course, to: CoreState) -> None:
        made.add((id(course._moves), course.state, to))
        move(course, to)

    monkeypatch.setattr(Course, "move", note)
    words = [b"?", b"RUN", b"\r\n> ", b"\x13", b"\x11"]
    for seed in range(300):
        for _, make in CORES:
            drive(make(), random.Random(seed), words)
    tables = {id(moves): moves for moves, _ in CORES}
    assert made == {
        (table, start, to)
        for table, moves in tables.items()
        for start in moves
        for to in moves[start]
    }


@pytest.mark.parametrize("pacing", [ERASING, CANCELLING], ids=["erasing", "cancelling"])
def test_a_flood_before_the_line_end_is_cut_off_by_its_bytes(pacing: Pacing) -> None:
    """The limit of bytes holds while the text is typed too, not only for the answer."""
    core = Exchange(b"NEW", pacing, Reach(most_bytes=2000))
    core.step(0.0, b"")
    for turn in range(1, 40):
        core.step(turn / 1000, b"*" * 100)
        if core.done:
            break
    assert core.outcome is Outcome.FLOODING
    assert 1900 <= len(core.answer) <= 2000
