"""Helpers for the link's tests: boards on a virtual clock, ports that watch and ports that replay.

No test here can hang: every run of a core is bounded in turns and in virtual seconds.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterable
from typing import Any

import pytest

from hostlink.errors import Interrupted, LinkError
from hostlink.link.clock import VirtualClock
from hostlink.link.core import Core
from hostlink.link.pacing import Pacing
from hostlink.link.recording import Burst
from hostlink.link.wire import Wire
from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

MOST_TURNS = 200_000


class Bench:
    """A practice board on a virtual clock, with a wire to it."""

    def __init__(
        self, settings: BoardSettings, faults: Faults, host_baud: int | None, banner: bytes
    ) -> None:
        self.clock = VirtualClock()
        self.machine = Machine(settings, faults, host_baud=host_baud)
        self.port = PracticePort(self.machine, self.clock, jump=self.clock.advance_to)
        self.writes: list[tuple[float, bytes]] = []
        self.wire = Wire(self.port, self.clock, banner=banner, cancelled=self._out_of_bounds)
        self._turns = 0
        self._until = 0.0
        write = self.port.write

        def noted(data: bytes) -> int:
            self.writes.append((self.clock.now(), bytes(data)))
            return write(data)

        self.port.write = noted  # type: ignore[method-assign]

    def _out_of_bounds(self) -> bool:
        self._turns += 1
        return self._turns > MOST_TURNS or self.clock.now() > self._until

    def run(self, core: Any, within_s: float = 300.0) -> Any:
        """Run a core to its end, which must come within that much virtual time."""
        self._turns = 0
        self._until = self.clock.now() + within_s
        try:
            self.wire.run(core)
        except Interrupted:
            pytest.fail(f"no end after {within_s} s of virtual time or {MOST_TURNS} turns")
        return core

    def settle(self, seconds: float = 0.5) -> None:
        """Let time pass and throw away what the board says meanwhile."""
        self.clock.advance_to(self.clock.now() + seconds)
        self.port.reset_input_buffer()

    def say(self, data: bytes, seconds: float = 0.5) -> bytes:
        """Send bytes as they are, let time pass, and return what came back."""
        self.port.write(data)
        self.clock.advance_to(self.clock.now() + seconds)
        return self.port.read(1 << 20)


@pytest.fixture(scope="session")
def bench() -> Callable[..., Bench]:
    """Make a bench: board settings by name, and `faults`, `host_baud`, `banner`.

    The prompt that the board shows at first is thrown away, unless `settled` is False.
    """

    def make(
        *,
        faults: Faults | None = None,
        host_baud: int | None = None,
        banner: bytes = b"",
        settled: bool = True,
        **settings: Any,
    ) -> Bench:
        made = Bench(BoardSettings(**settings), faults or Faults(), host_baud, banner)
        if settled:
            made.settle()
        return made

    return make


@pytest.fixture(scope="session")
def pacing_for() -> Callable[..., Pacing]:
    """The pacing that fits a practice board's settings; changes by name."""

    def fit(settings: BoardSettings, **changes: Any) -> Pacing:
        byte_s = 10 / settings.baud
        polled = settings.transmit_buffer < settings.receive_buffer
        slow = settings.char_ms > 0 or settings.wrap_ms > 0 or polled
        pacing = Pacing(
            baud=settings.baud,
            echo=settings.echo,
            line_end=settings.line_end,
            reply_end=settings.reply_end,
            prompt=settings.prompt,
            line_done=settings.line_done,
            after_prompt_s=settings.line_ms / 1000 + 2 * byte_s,
            receive_buffer=settings.receive_buffer,
            line_s=settings.line_ms / 1000,
            char_s=settings.char_ms / 1000,
            line_window=max(1, settings.receive_buffer) if slow else 0,
            line_cancel=settings.line_cancel,
            erase=settings.erase,
            interrupt=settings.interrupt,
            latency_s=settings.latency_ms / 1000,
        )
        return dataclasses.replace(pacing, **changes)

    return fit


class Script:
    """A board made of a function: what it hears, byte by byte, and what it answers at once.

    With `answer` None it is deaf and dumb. Only the wire's time passes.
    """

    timeout = 0.05
    dtr = True

    def __init__(self, answer: Callable[[int], bytes] | None, clock: VirtualClock) -> None:
        self._answer = answer
        self._clock = clock
        self._ready = bytearray()
        self.written = bytearray()

    @property
    def in_waiting(self) -> int:
        return len(self._ready)

    def say(self, data: bytes) -> None:
        """The board says something by itself."""
        self._ready += data

    def read(self, size: int = 1) -> bytes:
        out = bytes(self._ready[:size])
        del self._ready[:size]
        return out

    def write(self, data: bytes) -> int:
        self.written += data
        for byte in data:
            self._ready += self._answer(byte) if self._answer else b""
        return len(data)

    def reset_input_buffer(self) -> None:
        self._ready.clear()

    def close(self) -> None:
        self._answer = None

    def wait_until(self, moment: float) -> None:
        if not self._ready:
            self._clock.advance_to(moment)


class AskingBoard:
    """A board whose RUN starts a program that asks for numbers and prints each doubled.

    It talks as an interpreter on such a chip was measured to: lines end with LF CR, the prompt is
    `>`, INPUT asks with `?` and no line end and takes the interrupt byte as text, an answer that is
    no number is asked for again, and a program that runs is stopped by byte 3.

    asks: how many numbers; then it ends. says: what it prints before it asks for the first time.
    silent_s: works that long, without a word, before that. mark: what INPUT shows. keeps: a
    character that comes while it works is kept for later. deaf_to_interrupt: never stops. lose:
    which bytes from the host, counted from 1, never arrive.
    """

    timeout = 0.05
    dtr = True

    def __init__(
        self,
        clock: VirtualClock,
        *,
        asks: int = 1_000_000,
        says: bytes = b"",
        silent_s: float = 0.0,
        mark: bytes = b"?",
        keeps: bool = False,
        deaf_to_interrupt: bool = False,
        lose: tuple[int, ...] = (),
    ) -> None:
        self.written = b""
        self.answers: list[int] = []
        self.commands: list[bytes] = []
        self.state = "prompt"
        self._clock = clock
        self._asks = asks
        self._says = says
        self._silent_s = silent_s
        self._mark = mark
        self._keeps = keeps
        self._kept = b""
        self._deaf = deaf_to_interrupt
        self._lose = lose
        self._line = b""
        self._due: float | None = None
        self._ready = bytearray()

    # --- the port ----------------------------------------------------------------------------

    @property
    def in_waiting(self) -> int:
        self._advance()
        return len(self._ready)

    def read(self, size: int = 1) -> bytes:
        self._advance()
        out = bytes(self._ready[:size])
        del self._ready[:size]
        return out

    def write(self, data: bytes) -> int:
        self._advance()
        for byte in data:
            self.written += bytes((byte,))
            if len(self.written) not in self._lose:
                self._hear(byte)
        return len(data)

    def reset_input_buffer(self) -> None:
        self._ready.clear()

    def close(self) -> None:
        self.state = "closed"

    def wait_until(self, moment: float) -> None:
        if not self.in_waiting:
            self._clock.advance_to(moment if self._due is None else min(moment, self._due))

    # --- the board ---------------------------------------------------------------------------

    def _advance(self) -> None:
        if self._due is not None and self._clock.now() >= self._due:
            self._due = None
            self._go_on()

    def _go_on(self) -> None:
        """The program comes to its INPUT, or to its end."""
        if len(self.answers) >= self._asks:
            self._ready += b"\n\rOK\n\r>"
            self.state = "prompt"
        else:
            self._ready += self._mark
            self.state = "asking"
        kept, self._kept = self._kept, b""
        for byte in kept:
            self._hear(byte)

    def _hear(self, byte: int) -> None:
        if self.state == "running":
            if byte == 3 and not self._deaf:
                self._due = None
                self._ready += b"break!\n\rOK\n\r>"
                self.state = "prompt"
            elif self._keeps:
                self._kept += bytes((byte,))
            return
        if byte == 8:
            self._ready += b"\x08 \x08" if self._line else b""
            self._line = self._line[:-1]
        elif byte != 13:
            self._line += bytes((byte,))
            self._ready.append(byte)
        else:
            line, self._line = self._line, b""
            self._ready += b"\n\r"
            self._entered(line)

    def _entered(self, line: bytes) -> None:
        if self.state == "asking":
            if not re.fullmatch(rb" *-?\d+", line):
                self._ready += self._mark
                return
            self.answers.append(int(line))
            self._ready += b"%d\n\r" % (2 * self.answers[-1])
            self._run(0.01)  # to the next question
        elif line == b"RUN":
            self._ready += self._says
            self._run(self._silent_s)
        else:
            self.commands.append(line)
            self._ready += (b"What?\n\r" if line else b"") + b">"

    def _run(self, seconds: float) -> None:
        self.state = "running"
        self._due = self._clock.now() + seconds


ASKING_PACING = Pacing(
    baud=9600, prompt=b">", reply_end=b"\n\r", line_end=b"\r", erase=b"\x08", latency_s=0.001
)


class Replay:
    """A board that is a recording: it says what it said then, and checks what the host sends.

    A burst of the board comes when the host has sent all that it had sent before it then, and as
    long after as it did then. Anything else from the host is an AssertionError.
    """

    timeout = 0.05
    dtr = True

    def __init__(self, bursts: Iterable[Burst], clock: VirtualClock) -> None:
        self._clock = clock
        self._wanted = bytearray()
        self._answers: list[tuple[int, float, bytes]] = []  # host bytes before, gap, what
        host_at = 0.0
        for burst in bursts:
            if burst.side == "host":
                self._wanted += burst.data
                host_at = burst.at_ms
            else:
                self._answers.append((len(self._wanted), burst.at_ms - host_at, burst.data))
        self._heard = 0
        self._heard_at = clock.now()
        self._ready = bytearray()

    @property
    def finished(self) -> bool:
        """Whether the host has sent everything and fetched everything."""
        return self._heard == len(self._wanted) and not self._answers and not self._ready

    def _due(self) -> float | None:
        """When the next burst comes, None if it waits for the host."""
        if not self._answers or self._answers[0][0] > self._heard:
            return None
        return self._heard_at + self._answers[0][1] / 1000

    def _advance(self) -> None:
        while (due := self._due()) is not None and due <= self._clock.now():
            self._ready += self._answers.pop(0)[2]

    @property
    def in_waiting(self) -> int:
        self._advance()
        return len(self._ready)

    def read(self, size: int = 1) -> bytes:
        self._advance()
        out = bytes(self._ready[:size])
        del self._ready[:size]
        return out

    def write(self, data: bytes) -> int:
        wanted = bytes(self._wanted[self._heard : self._heard + len(data)])
        assert data == wanted, f"the host sent {data!r}, the recording has {wanted!r}"
        self._heard += len(data)
        self._heard_at = self._clock.now()
        return len(data)

    def reset_input_buffer(self) -> None:
        self._advance()
        self._ready.clear()

    def close(self) -> None:
        self._answers.clear()

    def wait_until(self, moment: float) -> None:
        due = self._due()
        if not self.in_waiting:
            self._clock.advance_to(moment if due is None else min(moment, due))


@pytest.fixture(scope="session")
def run_on() -> Callable[..., Any]:
    """Run a core over any port on a virtual clock, bounded like a bench."""

    def run(port: Any, clock: VirtualClock, core: Core, within_s: float = 300.0) -> Any:
        turns = 0

        def out_of_bounds() -> bool:
            nonlocal turns
            turns += 1
            return turns > MOST_TURNS or clock.now() > within_s

        try:
            Wire(port, clock, cancelled=out_of_bounds).run(core)
        except Interrupted:
            pytest.fail(f"no end after {within_s} s of virtual time or {MOST_TURNS} turns")
        return core

    return run


@pytest.fixture(scope="session")
def script() -> type[Script]:
    """A board made of a function: `script(answer, clock)`."""
    return Script


@pytest.fixture(scope="session")
def asking_board() -> type[AskingBoard]:
    """A board whose program asks: `asking_board(clock, asks=2)`; asking_pacing fits it."""
    return AskingBoard


@pytest.fixture(scope="session")
def asking_pacing() -> Pacing:
    """The pacing for an asking board."""
    return ASKING_PACING


@pytest.fixture(scope="session")
def replay() -> type[Replay]:
    """A board that is a recording: `replay(bursts, clock)`."""
    return Replay


@pytest.fixture(scope="session")
def failing() -> Callable[..., LinkError]:
    """Call something that must raise LinkError; the error, checked for what it must tell."""

    def call(do: Callable[[], object]) -> LinkError:
        with pytest.raises(LinkError) as caught:
            do()
        assert caught.value.what.endswith(".")
        return caught.value

    return call


@pytest.fixture(scope="session")
def listing() -> Callable[..., list[bytes]]:
    """`count` numbered lines of mixed length, always the same."""

    def make(count: int = 20) -> list[bytes]:
        return [
            b'%d PRINT "%s"' % (10 * n, bytes(65 + (n * 7 + i) % 26 for i in range(n * 11 % 40)))
            for n in range(1, count + 1)
        ]

    return make


@pytest.fixture(scope="session")
def held() -> Callable[[Machine], list[bytes]]:
    """The program in a board's memory, as typed lines."""
    return lambda machine: [b"%d %s" % row for row in machine.basic.lines.items()]
