"""The pump: drives any core over a port and a clock, counts, records, and notices restarts.

Rules:
1. One thread owns a wire; no call blocks longer than the port's timeout (under 0.1 s).
2. Cancelling is asked for through `cancelled`, which is looked at on every turn, and so is the
   `watch`, by which a job limits its time and tells what it is waiting for.
3. Everything that passes is counted and recorded here and nowhere else.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from dataclasses import dataclass, field

from hostlink.errors import Interrupted
from hostlink.link.clock import Clock
from hostlink.link.core import Core
from hostlink.link.port import Port, SelfTimedPort
from hostlink.link.recording import Recorder

_POLL_S = 0.001
_READ_SIZE = 4096
_RECENT_BYTES = 512
_ROW_END = re.compile(rb"[\r\n]")
_LONG_BANNER = 12  # bytes from which one is known even with a damaged byte
_OPEN_TEXT = re.compile(rb"REM|DATA|\'", re.IGNORECASE)


@dataclass
class Health:
    """What has passed since the port was opened, in bytes, and the restarts that were noticed."""

    bytes_out: int = 0
    bytes_in: int = 0
    restarts: int = 0


STOPPED = "Stopped by the user."


@dataclass
class Wire:
    """A port with its clock. `banner` is watched for at any time, since a board may restart."""

    port: Port
    clock: Clock
    banner: bytes = b""
    recorder: Recorder | None = None
    cancelled: Callable[[], bool] = lambda: False
    watch: Callable[[float], None] | None = None  # called with the time; may raise to end a job
    health: Health = field(default_factory=Health)
    recent: bytes = b""  # the last bytes from the board, so that a banner can be quoted
    _row: bytes = b""  # as far as it came
    _was_shown: bool = False  # the banner, in this row
    _self_timed: SelfTimedPort | None = None

    def __post_init__(self) -> None:
        # Asked once: looking for the members of a protocol takes longer than moving a byte.
        self._self_timed = self.port if isinstance(self.port, SelfTimedPort) else None

    def now(self) -> float:
        """Return the time of the wire's clock, in seconds."""
        return self.clock.now()

    def run(self, core: Core) -> None:
        """Drive `core` until it is done. Raises LinkError from the port, Interrupted on cancel."""
        received = b""
        while True:
            step = core.step(self.now(), received)
            if step.write:
                self.write(step.write)
            if core.done:
                return
            if self.cancelled():
                raise Interrupted(STOPPED)
            if self.watch is not None:
                self.watch(self.now())
            received = self.receive(self.now() + 1.0 if step.wake is None else step.wake)

    def write(self, data: bytes) -> None:
        """Hand bytes to the port; they are on their way, not more."""
        if self.recorder is not None:
            self.recorder.note(self.now(), "host", data)
        self.port.write(data)
        self.health.bytes_out += len(data)

    def receive(self, until: float) -> bytes:
        """Bytes as soon as there are any, or b"" when `until` (clock seconds) has come."""
        self._wait(until)
        waiting = self.port.in_waiting
        data = self.port.read(min(waiting, _READ_SIZE)) if waiting else b""
        if data:
            self._note(data)
        return data

    def _wait(self, until: float) -> None:
        """Sleep towards `until`, but wake for bytes; never longer than the port's timeout."""
        if self._self_timed is not None:
            self._self_timed.wait_until(until)
            return
        limit = min(until, self.now() + (self.port.timeout or 0.05))
        while self.now() < limit and not self.port.in_waiting:
            self.clock.sleep(_POLL_S)

    def _note(self, data: bytes) -> None:
        self.health.bytes_in += len(data)
        self.recent = (self.recent + data)[-_RECENT_BYTES:]
        if self.recorder is not None:
            self.recorder.note(self.now(), "board", data)
        if self.banner:
            self._look_for_banner(data)

    def _look_for_banner(self, data: bytes) -> None:
        """Count restarts by their banner, also one that lost, doubled or changed a byte on the way.

        A restart that goes by unseen is a memory taken for kept; but a program may hold the same
        text, and is listed or echoed.
        """
        damaged = _one_byte_off(self.banner)
        *rows, self._row = _ROW_END.split((self._row + data)[-_RECENT_BYTES:])
        for row in rows:
            if not self._shows_banner(row) and damaged and (found := damaged.search(row)):
                self.health.restarts += not _is_in_program(row[: found.start()])
            self._was_shown = False
        self._shows_banner(self._row)

    def _shows_banner(self, row: bytes) -> bool:
        """Whether a row, which may go on, holds the banner; a restart counts once for each row."""
        at = row.find(self.banner)
        if at >= 0 and not self._was_shown:
            self._was_shown = True
            self.health.restarts += not _is_in_program(row[:at])
        return at >= 0

    def close(self) -> None:
        """Close the recording, if there is one, and the port."""
        try:
            if self.recorder is not None:
                self.recorder.close()
        finally:
            self.port.close()


def _is_in_program(before: bytes) -> bool:
    """Whether what follows in a row is in a string, a remark or data of a program."""
    return before.count(b'"') % 2 == 1 or _OPEN_TEXT.search(before) is not None


@functools.cache
def _one_byte_off(text: bytes) -> re.Pattern[bytes] | None:
    """Finds what damage to one byte makes of a text; None for one too short to be known by that."""
    if len(text) < _LONG_BANNER:
        return None
    found = list[bytes]()
    for at in range(len(text)):
        before, here, after = (
            re.escape(each) for each in (text[:at], text[at : at + 1], text[at + 1 :])
        )
        found.append(before + b"(?:|.|" + here + here + b")" + after)
    return re.compile(b"|".join(found), re.DOTALL)
