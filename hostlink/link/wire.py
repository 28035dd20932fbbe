"""The pump: drive any core over a port and a clock, count and record bytes, detect restarts.

Rules:
1. One thread owns a wire; no call blocks longer than the port's timeout (under 0.1 s).
2. On every turn `cancelled` is checked, which ends the work when the user stops it, and `watch` is
   called, with which a job limits its time and reports what it waits for.
3. All bytes in both directions are counted and recorded here and nowhere else.
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

_POLL_S = 0.001  # the shortest time between two looks for bytes
_LONGEST_POLL_S = 0.05
_POLLS = 30  # the time since the last byte is divided by this: a wait is overrun by 3 % at most
_READ_SIZE = 4096
_RECENT_BYTES = 512
_ROW_END = re.compile(rb"[\r\n]")
LONG_BANNER = 12  # bytes; a banner of this length is recognised even with one damaged byte
_OPEN_TEXT = re.compile(rb"REM|DATA|\'", re.IGNORECASE)


@dataclass
class Health:
    """The bytes sent and received since the port was opened, and the restarts detected."""

    bytes_out: int = 0
    bytes_in: int = 0
    restarts: int = 0


STOPPED = "Stopped by the user."


@dataclass
class Wire:
    """A port with its clock. `banner`: start-up message by which a restart is detected."""

    port: Port
    clock: Clock
    banner: bytes = b""
    recorder: Recorder | None = None
    cancelled: Callable[[], bool] = lambda: False
    watch: Callable[[float], None] | None = None  # called with the time; may raise to end a job
    health: Health = field(default_factory=Health)
    recent: bytes = b""  # the last bytes from the board, for quoting its banner
    open_line: bytes = b""  # what was sent since the last line end
    _last: float = 0.0  # when the last byte was sent or received
    _row: bytes = b""  # the unfinished row
    _was_shown: bool = False  # whether this row already showed the banner
    _self_timed: SelfTimedPort | None = None

    def __post_init__(self) -> None:
        # Checked once: an isinstance check on a protocol takes longer than moving a byte.
        self._last = self.clock.now()
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
        """Hand bytes to the port, count and record them; they need not have been sent yet."""
        if self.recorder is not None:
            self.recorder.note(self.now(), "host", data)
        self.port.write(data)
        self._last = self.now()
        self.health.bytes_out += len(data)
        end = max(data.rfind(b"\r"), data.rfind(b"\n"))
        self.open_line = data[end + 1 :] if end >= 0 else (self.open_line + data)[-_RECENT_BYTES:]

    def receive(self, until: float) -> bytes:
        """Return bytes as soon as there are any; b"" at `until` (clock seconds) or the timeout."""
        self._wait(until)
        waiting = self.port.in_waiting
        data = self.port.read(min(waiting, _READ_SIZE)) if waiting else b""
        if data:
            self._note(data)
        return data

    def _wait(self, until: float) -> None:
        """Sleep until `until` or until bytes arrive, at most for the port's timeout.

        The longer nothing was sent in either direction, the less often the port is asked.
        """
        if self._self_timed is not None:
            self._self_timed.wait_until(until)
            return
        limit = min(until, self.now() + (self.port.timeout or 0.05))
        while (now := self.now()) < limit and not self.port.in_waiting:
            poll_s = min(max(_POLL_S, (now - self._last) / _POLLS), _LONGEST_POLL_S)
            self.clock.sleep(min(poll_s, max(_POLL_S, limit - now)))

    def _note(self, data: bytes) -> None:
        self._last = self.now()
        self.health.bytes_in += len(data)
        self.recent = (self.recent + data)[-_RECENT_BYTES:]
        if self.recorder is not None:
            self.recorder.note(self.now(), "board", data)
        if self.banner:
            self._look_for_banner(data)

    def _look_for_banner(self, data: bytes) -> None:
        """Count restarts by their banner, even if one of its bytes was lost, doubled or changed.

        After an undetected restart, hostlink would assume that the memory is intact. The same text
        inside a program that is listed or echoed does not count.
        """
        heard = (self._row + data)[-_RECENT_BYTES:]
        # Bytes come one by one: to split each time would take as long as to move them.
        is_ended = b"\r" in data or b"\n" in data
        *rows, self._row = _ROW_END.split(heard) if is_ended else (heard,)
        damaged = _one_byte_off(self.banner) if rows else None
        for row in rows:
            if not self._shows_banner(row) and damaged and (found := damaged.search(row)):
                self.health.restarts += not _is_in_program(row[: found.start()])
            self._was_shown = False
        self._shows_banner(self._row)

    def _shows_banner(self, row: bytes) -> bool:
        """Return whether a possibly unfinished row holds the banner; count one restart per row."""
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
    """Return whether text after `before` is inside a program's string, remark or DATA."""
    return before.count(b'"') % 2 == 1 or _OPEN_TEXT.search(before) is not None


@functools.cache
def _one_byte_off(text: bytes) -> re.Pattern[bytes] | None:
    """Return a pattern for a text with one damaged byte; None if the text is too short for it."""
    if len(text) < LONG_BANNER:
        return None
    found = list[bytes]()
    for at in range(len(text)):
        before, here, after = (
            re.escape(each) for each in (text[:at], text[at : at + 1], text[at + 1 :])
        )
        found.append(before + b"(?:|.|" + here + here + b")" + after)
    return re.compile(b"|".join(found), re.DOTALL)
