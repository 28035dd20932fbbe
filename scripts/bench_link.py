"""How long a load takes against what the wire itself allows, on a virtual clock.

The listing is fixed: scripts/bench_listing.bas, 40 lines and 1,026 bytes (made once by
`random.Random(1026)`). Every way of sending it runs on the same simulated wire:

    hostlink    the loader, with a profile that fits the board
    line        the same sender, one line at a time
    fixed       hand-set delays: 10 ms after each character, 100 ms more after each line
    char_echo   wait for the echo of each character, after a line end for the prompt

Each time runs from the first byte of the listing written to the last prompt that came back.
bound_s = max(bytes_out, bytes_back, busy_s * baud / 10) * 10 / baud + latency is worked out from
the listing and the board alone; what was counted on the wire must agree with it. job_s is the
whole load: getting to the prompt, clearing, sending and reading back.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from bench_report import Row, Section, Target

from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Event, Phase
from hostlink.board.dialogue.loading import Loader
from hostlink.board.profile.model import Profile, Talk
from hostlink.board.profile.pacing import pacing_of
from hostlink.link.clock import VirtualClock
from hostlink.link.core import Core, Step
from hostlink.link.regain import Regain
from hostlink.link.sender import Sender
from hostlink.link.wire import Wire
from hostlink.listing.parse import Line, Listing
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

LISTING = Path(__file__).with_name("bench_listing.bas")
LINES, BYTES = 40, 1026  # line ends counted, one byte each
BAUDS = (2400, 9600, 57600, 115200)
RECEIVE_BUFFERS = (0, 2, 63)
LATENCIES_MS = (1, 16)
LINE_TIMES_MS = (2, 15)
CHARACTER_S, LINE_S = 0.010, 0.100  # the hand-set delays
_GIVE_UP_S = 2.0


@dataclass(frozen=True, slots=True)
class Run:
    """One way of sending, once. seconds: first byte to last answer, None where it did not end.

    lost: bytes that the board lost, and lines that it holds wrong, not at all or too many.
    bytes_out, bytes_back: counted on the wire meanwhile. busy_s: time the board spent storing.
    """

    seconds: float | None
    lost: int
    bytes_out: int
    bytes_back: int
    busy_s: float
    job_s: float = 0.0


def listing() -> dict[int, Line]:
    """The fixed listing, line number to line."""
    read = Listing.from_text(LISTING.read_text(encoding="ascii"))
    size = sum(len(line.typed) + 1 for line in read)
    if (len(read), size) != (LINES, BYTES):
        raise ValueError(f"{LISTING.name} has {len(read)} lines and {size} bytes")
    return read.numbered()


def fitting_profile(board: BoardSettings) -> Profile:
    """A profile that says of a practice board what is true of it."""
    talk = Talk(
        baud=board.baud,
        prompt=board.prompt,
        line_done="prompt",
        receive_buffer=board.receive_buffer,
        line_ms=board.line_ms,
        line_window=0,
        line_cancel=board.line_cancel,
        erase=board.erase,
        restarts_on_open=False,
    )
    return Profile("bench", talk=talk)


def bound(board: BoardSettings, lines: Iterable[bytes]) -> tuple[float, int, int, float]:
    """(bound_s, bytes_out, bytes_back, busy_s) of a load, from the wire model alone."""
    held = list(lines)
    out = sum(len(line) + len(board.line_end) for line in held)
    answer = len(board.reply_end) + len(board.prompt)
    back = sum(len(line) + answer for line in held)
    busy_s = len(held) * board.line_ms / 1000
    most = max(out, back, busy_s * board.baud / 10)
    return most * 10 / board.baud + board.latency_ms / 1000, out, back, busy_s


# --- the ways of sending -------------------------------------------------------------------------


class FixedDelays:
    """Sends blindly: a pause after each character, a longer one after each line."""

    def __init__(self, lines: Iterable[bytes], line_end: bytes) -> None:
        self._bytes = b"".join(line + line_end for line in lines)
        self._end = line_end[-1]
        self._sent = 0
        self._next = 0.0
        self.first_write: float | None = None
        self.last_answer: float | None = None
        self.done = False

    def step(self, now: float, received: bytes) -> Step:
        if received:
            self.last_answer = now
        if self.first_write is None:
            self.first_write = self._next = now
        if now < self._next:
            return Step(b"", self._next)
        if self._sent == len(self._bytes):
            self.done = True
            return Step()
        out = self._bytes[self._sent : self._sent + 1]
        self._sent += 1
        self._next += CHARACTER_S + (LINE_S if out[0] == self._end else 0.0)
        if self._sent == len(self._bytes):
            self._next += _GIVE_UP_S  # listen on, so that the last answer is seen
        return Step(out, self._next)


class CharacterEcho:
    """Sends a character when the one before has come back, a line when the prompt has."""

    def __init__(self, lines: Iterable[bytes], line_end: bytes, prompt: bytes) -> None:
        self._bytes = b"".join(line + line_end for line in lines)
        self._end = line_end[-1]
        self._prompt = prompt
        self._sent = 0
        self._heard = b""
        self._last = 0.0
        self.first_write: float | None = None
        self.last_answer: float | None = None
        self.done = False

    def step(self, now: float, received: bytes) -> Step:
        self._heard += received
        if self.first_write is None:
            self.first_write = now
        elif not self._answered():
            if now >= self._last + _GIVE_UP_S:  # a byte was lost: this way hangs for good
                self.last_answer = None
                self.done = True
            return Step(b"", self._last + _GIVE_UP_S)
        else:
            self.last_answer = now
        if self._sent == len(self._bytes):
            self.done = True
            return Step()
        self._sent += 1
        self._heard = b""
        self._last = now
        return Step(self._bytes[self._sent - 1 : self._sent], now + _GIVE_UP_S)

    def _answered(self) -> bool:
        last = self._bytes[self._sent - 1]
        return self._heard.endswith(self._prompt) if last == self._end else bool(self._heard)


def build(board: BoardSettings) -> tuple[Machine, Wire]:
    """A practice board and the wire to it, on a clock of their own."""
    clock = VirtualClock()
    machine = Machine(board)
    return machine, Wire(PracticePort(machine, clock, jump=clock.advance_to), clock)


def _lost(machine: Machine, target: dict[int, Line]) -> int:
    good = {number: line.text.encode("ascii") for number, line in target.items()}
    held = machine.basic.lines
    return machine.overruns + sum(
        1 for number in {*good, *held} if good.get(number) != held.get(number)
    )


def run_core(board: BoardSettings, core: Core, target: dict[int, Line]) -> Run:
    """Run one sending core on a fresh board, after its prompt was found."""
    machine, wire = build(board)
    wire.run(Regain(pacing_of(fitting_profile(board)), may_interrupt=False))
    out, back, busy_s = wire.health.bytes_out, wire.health.bytes_in, machine.busy_s
    wire.run(core)
    first = getattr(core, "first_write", None)
    last = getattr(core, "last_confirm", None) or getattr(core, "last_answer", None)
    return Run(
        None if first is None or last is None else last - first,
        _lost(machine, target),
        wire.health.bytes_out - out,
        wire.health.bytes_in - back,
        machine.busy_s - busy_s,
    )


def run_hostlink(board: BoardSettings, target: dict[int, Line], profile: Profile) -> Run:
    """The whole load by the loader, as `hostlink load` does it."""
    machine, wire = build(board)
    marks: dict[str, tuple[int, int, float]] = {}

    def note(event: Event) -> None:
        if isinstance(event, Phase):
            counts = (wire.health.bytes_out, wire.health.bytes_in, machine.busy_s)
            marks.setdefault(event.text, counts)

    dialogue = Dialogue(wire, profile, note)
    dialogue.attach()
    report = Loader(dialogue, target).load()
    before, after = marks["Sending"], marks["Reading back"]
    return Run(
        report.seconds,
        _lost(machine, target),
        after[0] - before[0],
        after[1] - before[1],
        after[2] - before[2],
        job_s=wire.now(),
    )


# --- the section ---------------------------------------------------------------------------------


def measure(board: BoardSettings, target: dict[int, Line]) -> dict[str, int | float | None]:
    """One row: every way of sending on one kind of wire."""
    lines = [line.typed.encode("ascii") for line in target.values()]
    profile = fitting_profile(board)
    pacing = pacing_of(profile)
    bound_s, out, back, busy_s = bound(board, lines)
    ours = run_hostlink(board, target, profile)
    by_line = run_core(board, Sender(lines, replace(pacing, receive_buffer=0)), target)
    fixed = run_core(board, FixedDelays(lines, board.line_end), target)
    char_echo = run_core(board, CharacterEcho(lines, board.line_end, board.prompt), target)
    counted = (ours.bytes_out, ours.bytes_back, round(ours.busy_s, 6))
    return {
        "baud": board.baud,
        "receive_buffer": board.receive_buffer,
        "latency_ms": board.latency_ms,
        "line_ms": board.line_ms,
        "bytes_out": out,
        "bytes_back": back,
        "busy_s": _rounded(busy_s),
        "bound_s": _rounded(bound_s),
        "hostlink_s": _rounded(ours.seconds),
        "line_s": _rounded(by_line.seconds),
        "fixed_s": _rounded(fixed.seconds),
        "char_echo_s": _rounded(char_echo.seconds),
        "job_s": _rounded(ours.job_s),
        "lost": ours.lost,
        "lost_otherwise": by_line.lost + fixed.lost + char_echo.lost,
        "miscounted": int(counted != (out, back, round(busy_s, 6))),
    }


def boards() -> list[BoardSettings]:
    """Every combination that is measured."""
    return [
        BoardSettings(
            baud=baud, receive_buffer=receive_buffer, latency_ms=latency_ms, line_ms=line_ms
        )
        for baud, receive_buffer, latency_ms, line_ms in itertools.product(
            BAUDS, RECEIVE_BUFFERS, LATENCIES_MS, LINE_TIMES_MS
        )
    ]


def targets_of(rows: list[Row]) -> list[Target]:
    """What must hold over the rows. A time that is None did not end, so its target fails."""
    endless = float("inf")

    def seconds(row: Row, name: str) -> float:
        value = row[name]
        return float(value) if isinstance(value, int | float) else endless

    ours = [(row, seconds(row, "hostlink_s")) for row in rows]
    bounded = [
        value / seconds(row, "bound_s")
        for row, value in ours
        if row["receive_buffer"] == 63 and seconds(row, "baud") <= 9600
    ]
    by_hand = [
        (seconds(row, "fixed_s") / value, seconds(row, "char_echo_s") / value)
        for row, value in ours
        if (row["baud"], row["latency_ms"], row["receive_buffer"]) == (9600, 16, 63)
    ]
    wire = "9600 baud, 16 ms, 63-byte receive buffer"
    return [
        Target.at_most(
            "times the bound, 63-byte receive buffer, up to 9600 baud", _worst(bounded), 1.05
        ),
        Target.at_most(
            "times line at a time, everywhere",
            _worst([value / seconds(row, "line_s") for row, value in ours]),
            1.0,
        ),
        Target.at_least(
            f"times faster than hand-set delays, {wire}", min(by_hand, default=(0.0, 0.0))[0], 10
        ),
        Target.at_least(
            f"times faster than waiting for each echo, {wire}",
            min((echo for _, echo in by_hand), default=0.0),
            10,
        ),
        Target.at_most("bytes or lines lost, everywhere", _sum(rows, "lost"), 0),
        Target.at_most(
            "rows whose counted bytes differ from the model", _sum(rows, "miscounted"), 0
        ),
    ]


def run() -> Section:
    """Measure every combination."""
    target = listing()
    rows: list[Row] = [measure(board, target) for board in boards()]
    otherwise = _sum(rows, "lost_otherwise")
    notes = (
        f"{LINES} lines, {BYTES} bytes; seconds from the first byte written to the last answer.",
        "fixed: 10 ms a character and 100 ms a line. char_echo: each echo, then the prompt.",
        "job: the whole load with attaching, clearing and reading back.",
        f"Lost by the other three ways: {otherwise:g}.",
        "",
    )
    return Section("link", rows, targets_of(rows), notes)


def _worst(values: list[float]) -> float:
    """The greatest, rounded to six digits; infinite where nothing was measured."""
    return round(max(values, default=float("inf")), 6)


def _sum(rows: Iterable[Row], name: str) -> float:
    return sum(float(value) for row in rows if isinstance(value := row[name], int | float))


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)
