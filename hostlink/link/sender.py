"""The sender: send many lines as fast as the board can store them, and check their echo.

A board loses bytes only while it stores a line. So the sender limits the bytes that follow an
unconfirmed line end, and not all unconfirmed bytes:

1. Inside a line bytes are sent at wire speed, unless `char_s` or `line_window` say that the board
   cannot keep up.
2. At most `receive_buffer - 1` bytes may follow an unconfirmed line end. Without a receive buffer
   this means one line at a time.
3. Only what the board sends after storing confirms a line: the echo of its end, or the prompt, or
   a guard time after the prompt (`line_done`). A board that sends nothing is paced by the clock.
4. Every byte that comes back must be the expected one. The first unexpected byte ends the sending;
   hostlink.board.dialogue.loading decides how to repair the damage.

Its states and their moves are SENDER in hostlink.link.states.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from hostlink.link.core import Step
from hostlink.link.pacing import TIMED_MARGIN, Pacing
from hostlink.link.states import SENDER, CoreState, StatedCore

_XON, _XOFF = 0x11, 0x13
_LONGEST_PAUSE_S = 20.0
_TIMED_SLACK_S = 0.002

StopKind: TypeAlias = Literal["echo", "silent", "paused"]


@dataclass(frozen=True, slots=True)
class EarlyStop:
    """Why sending stopped early.

    line: index of the line with the unexpected answer. kind: "echo" (other bytes came back),
    "silent" (nothing came back in time), "paused" (the board stopped the flow for too long).
    expected, heard: the bytes expected and received, from the start of that line.
    """

    line: int
    kind: StopKind
    expected: bytes
    heard: bytes


class Sender(StatedCore):
    """Send `lines` (bytes without line end). Results: `confirmed` and `damage`.

    on_line: called with (index, bytes confirmed so far) for each line that the board confirms.
    """

    def __init__(
        self,
        lines: Sequence[bytes],
        pacing: Pacing,
        *,
        on_line: Callable[[int, int], None] | None = None,
    ) -> None:
        super().__init__(SENDER)
        self.pacing = pacing
        self.confirmed = 0  # lines
        self.damage: EarlyStop | None = None
        self.bytes_out = 0
        self.first_write: float | None = None
        self.last_confirm: float | None = None
        self._lines = [line + pacing.line_end for line in lines]
        self._on_line = on_line
        self._line = 0  # position of the next byte to send: line and offset
        self._offset = 0
        self._expected = b""
        self._matched = 0
        self._heard = bytearray()
        self._guards: list[float] = []  # times at which prompted lines count as stored
        self._prompted = 0  # lines whose prompt came; not all may be stored yet
        self._unconfirmed = 0  # bytes sent after the oldest unconfirmed line end
        self._wire_free = 0.0  # when everything written will have passed the wire
        self._next_byte_at = 0.0
        self._last_progress: float | None = None
        self._paused_at = 0.0  # when the board last sent XOFF
        self._bytes_confirmed = 0
        self._end_if_confirmed()
        self._expect_line()

    @property
    def lines_begun(self) -> int:
        """Return how many lines the board may have received, at least in part."""
        return self._line + (1 if self._offset else 0)

    def step(self, now: float, received: bytes) -> Step:
        """Check the echo received; return the bytes that may go out now and the next wake time."""
        if self._last_progress is None:
            self._last_progress = now
        if received:
            self._listen(now, received)
        self._pass_time(now)
        if self.done:
            return Step()
        out = self._next_bytes(now)
        if out:
            self.first_write = now if self.first_write is None else self.first_write
            self.bytes_out += len(out)
            self._wire_free = max(now, self._wire_free) + len(out) * self.pacing.byte_s
            self._last_progress = max(self._last_progress, self._wire_free)
        return Step(out, self._wake(now))

    # --- what comes back ---------------------------------------------------------------------

    def _expect_line(self) -> None:
        """Set the bytes that must come back for the next unanswered line."""
        pacing = self.pacing
        self._matched = 0
        self._heard.clear()
        if self._prompted >= len(self._lines):
            self._expected = b""
            return
        text = self._lines[self._prompted][: -len(pacing.line_end)]
        self._expected = (text + pacing.reply_end if pacing.echo else b"") + pacing.prompt

    def _listen(self, now: float, received: bytes) -> None:
        for byte in received:
            if self.pacing.xon_xoff and byte in (_XON, _XOFF):
                self._pause(now, byte == _XOFF)
                continue
            if not self.pacing.confirms:
                continue  # its answers prove nothing; the read-back decides
            self._heard.append(byte)
            if not self._fits(byte):
                self._fail("echo")
                return
            self._last_progress = now
            if self._matched == len(self._expected):
                self._line_answered(now)

    def _pause(self, now: float, off: bool) -> None:
        """Pause at the board's XOFF, continue at its XON; either may come twice."""
        self._last_progress = self._paused_at = now
        state = CoreState.PAUSED if off else CoreState.SENDING
        if self._course.state is not state:
            self._course.move(state)

    def _fits(self, byte: int) -> bool:
        """Return whether a byte is the expected one; letters may be echoed as capitals."""
        if self._matched >= len(self._expected) or self._prompted >= self.lines_begun:
            return False
        want = self._expected[self._matched]
        if byte != want and not (97 <= want <= 122 and byte == want - 32):
            # A board without echo may still end the line before it prompts.
            return not self.pacing.echo and byte in self.pacing.reply_end and self._matched == 0
        self._matched += 1
        return True

    def _line_answered(self, now: float) -> None:
        self._prompted += 1
        self._guards.append(now + self.pacing.guard_s)
        self._expect_line()

    def _fail(self, kind: StopKind) -> None:
        self.damage = EarlyStop(self._prompted, kind, self._expected, bytes(self._heard))
        self._course.move(CoreState.DONE)

    def _end_if_confirmed(self) -> None:
        if self.confirmed == len(self._lines) and not self.done:
            self._course.move(CoreState.DONE)

    # --- time --------------------------------------------------------------------------------

    def _pass_time(self, now: float) -> None:
        while self._guards and self._guards[0] <= now:
            self._guards.pop(0)
            self._confirm(now)
        if self.done:
            return
        if self._course.state is CoreState.PAUSED:
            if now - self._paused_at > _LONGEST_PAUSE_S:
                self._fail("paused")
            return
        waiting = self.pacing.confirms and self.confirmed < self.lines_begun
        if waiting and self._last_progress is not None and now >= self._deadline():
            self._fail("silent")

    def _deadline(self) -> float:
        """Return the time at which an answer is overdue, guard times included."""
        assert self._last_progress is not None
        return max(self._last_progress, *self._guards, 0.0) + self.pacing.patience_s

    def _confirm(self, now: float) -> None:
        size = len(self._lines[self.confirmed])
        self.confirmed += 1
        self._bytes_confirmed += size
        self.last_confirm = now
        self._last_progress = now
        # From now on the bytes after the next unconfirmed line end count, if it was sent.
        sent_lines = range(self.confirmed, self._line)
        self._unconfirmed = sum(len(self._lines[i]) for i in sent_lines[1:]) + self._offset
        if self._on_line is not None:
            self._on_line(self.confirmed - 1, self._bytes_confirmed)
        self._end_if_confirmed()

    def _wake(self, now: float) -> float:
        moments = list(self._guards[:1])
        if self._course.state is CoreState.PAUSED:
            moments.append(self._paused_at + _LONGEST_PAUSE_S + 0.001)
        elif self.pacing.confirms:
            moments.append(self._deadline())
        if self._next_byte_at > now and self._line < len(self._lines):
            moments.append(self._next_byte_at)
        return min(moments) if moments else now + 0.05

    # --- what goes out -----------------------------------------------------------------------

    def _next_bytes(self, now: float) -> bytes:
        """Return as many bytes as may be sent now."""
        if self._course.state is CoreState.PAUSED:
            return b""
        pacing = self.pacing
        out = bytearray()
        while self._line < len(self._lines) and now >= self._next_byte_at:
            line = self._lines[self._line]
            take = min(len(line) - self._offset, self._allowance())
            if pacing.char_gap_s:
                take = min(take, 1)
            if take <= 0:
                break
            out += line[self._offset : self._offset + take]
            self._offset += take
            if self._line > self.confirmed:
                self._unconfirmed += take
            if self._offset == len(line):
                self._line += 1
                self._offset = 0
                if self._line - 1 == self.confirmed:
                    self._unconfirmed = 0
            self._schedule(now, len(out), ended=self._offset == 0)
        return bytes(out)

    def _allowance(self) -> int:
        """Return how many more bytes may be sent now."""
        limit = 1 << 30
        if self._line > self.confirmed:  # an unconfirmed line end was sent
            limit = max(0, self.pacing.receive_buffer - 1) - self._unconfirmed
        if self.pacing.line_window and self.pacing.echo and self.pacing.confirms:
            limit = min(limit, self.pacing.line_window - self._unechoed())
        return limit

    def _unechoed(self) -> int:
        """Return how many sent bytes have not been echoed yet."""
        sent = sum(len(self._lines[i]) for i in range(self._prompted, self._line)) + self._offset
        current = self._lines[self._prompted] if self._prompted < len(self._lines) else b""
        return sent - min(self._matched, len(current))

    def _schedule(self, now: float, written: int, *, ended: bool) -> None:
        """Set the time of the next byte, for boards that are paced by the clock."""
        pacing = self.pacing
        if pacing.char_gap_s:
            self._next_byte_at = now + pacing.char_gap_s
        if ended and not pacing.confirms:
            free = max(now, self._wire_free) + written * pacing.byte_s
            stored = free + pacing.line_s * TIMED_MARGIN + pacing.char_s + _TIMED_SLACK_S
            self._next_byte_at = stored
            self._prompted += 1
            self._guards.append(stored)
