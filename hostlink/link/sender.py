"""The sender: many lines, as fast as the board can store them, watched by their echo.

What can be lost is what arrives while the board stores a line. So the sender counts what is
outstanding behind an unconfirmed line end, and not every byte:

1. Inside a line bytes flow at wire speed, unless `char_s` or `line_window` say that the board does
   not keep up.
2. At most `receive_buffer - 1` bytes may follow a line end that is not confirmed. With no receive
   buffer this is one line at a time.
3. Only what the board sends after storing confirms a line: the echo of its end, or the prompt, or
   a guard time after the prompt (`line_done`). A board that says nothing is paced by the clock.
4. Everything that comes back must be what was expected. The first byte that is not ends the
   sending; what to do about it is not decided here (see hostlink.board.loading).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hostlink.link.core import Step
from hostlink.link.pacing import TIMED_MARGIN, Pacing

_XON, _XOFF = 0x11, 0x13
_LONGEST_PAUSE_S = 20.0
_TIMED_SLACK_S = 0.002


@dataclass(frozen=True, slots=True)
class Damage:
    """Why sending stopped early.

    line: index of the line whose answer was not as expected. kind: "echo" (something else came
    back), "silent" (nothing came back in time), "paused" (the board paused us for too long).
    expected, heard: the bytes that should have come and that came, from the start of that line.
    """

    line: int
    kind: str
    expected: bytes
    heard: bytes


class Sender:
    """Sends `lines` (bytes without line end). After it is done: `confirmed` and `damage`.

    on_line is called with (index, bytes confirmed so far) for each line that the board confirmed.
    """

    def __init__(
        self,
        lines: Sequence[bytes],
        pacing: Pacing,
        *,
        on_line: Callable[[int, int], None] | None = None,
    ) -> None:
        self.pacing = pacing
        self.confirmed = 0  # lines
        self.damage: Damage | None = None
        self.bytes_out = 0
        self.first_write: float | None = None
        self.last_confirm: float | None = None
        self._lines = [line + pacing.line_end for line in lines]
        self._on_line = on_line
        self._line = 0  # the next byte to send: line and offset
        self._offset = 0
        self._expected = b""
        self._matched = 0
        self._heard = bytearray()
        self._guards: list[float] = []  # moments at which prompted lines count as stored
        self._prompted = 0  # lines whose prompt came, stored or about to be
        self._behind = 0  # bytes sent after the oldest unconfirmed line end
        self._wire_free = 0.0  # when everything written will have left at the line's speed
        self._next_byte_at = 0.0
        self._last_progress: float | None = None
        self._paused_since: float | None = None
        self._bytes_confirmed = 0
        self._expect_line()

    @property
    def done(self) -> bool:
        """Return whether all lines are confirmed or sending stopped at damage."""
        return self.damage is not None or self.confirmed == len(self._lines)

    @property
    def lines_begun(self) -> int:
        """How many lines the board may have heard something of."""
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
        """Set what must come back for the line whose answer is awaited next."""
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
                self._paused_since = now if byte == _XOFF else None
                self._last_progress = now
                continue
            if not self.pacing.confirms:
                continue  # such a board's answers prove nothing; the read-back will
            self._heard.append(byte)
            if not self._fits(byte):
                self._fail("echo")
                return
            self._last_progress = now
            if self._matched == len(self._expected):
                self._line_answered(now)

    def _fits(self, byte: int) -> bool:
        """Whether a byte is the one expected; letters may come back as capitals."""
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

    def _fail(self, kind: str) -> None:
        self.damage = Damage(self._prompted, kind, self._expected, bytes(self._heard))

    # --- time --------------------------------------------------------------------------------

    def _pass_time(self, now: float) -> None:
        while self._guards and self._guards[0] <= now:
            self._guards.pop(0)
            self._confirm(now)
        if self.damage is not None or self.done:
            return
        if self._paused_since is not None:
            if now - self._paused_since > _LONGEST_PAUSE_S:
                self._fail("paused")
            return
        waiting = self.pacing.confirms and self.confirmed < self.lines_begun
        if waiting and self._last_progress is not None and now >= self._deadline():
            self._fail("silent")

    def _deadline(self) -> float:
        """When an answer is overdue; a line that was prompted is stored when its guard says so."""
        assert self._last_progress is not None
        return max(self._last_progress, *self._guards, 0.0) + self.pacing.patience_s

    def _confirm(self, now: float) -> None:
        size = len(self._lines[self.confirmed])
        self.confirmed += 1
        self._bytes_confirmed += size
        self.last_confirm = now
        self._last_progress = now
        # The next unconfirmed line end, if it was sent, is now the one that bytes stand behind.
        sent_lines = range(self.confirmed, self._line)
        self._behind = sum(len(self._lines[i]) for i in sent_lines[1:]) + self._offset
        if self._on_line is not None:
            self._on_line(self.confirmed - 1, self._bytes_confirmed)

    def _wake(self, now: float) -> float:
        moments = list(self._guards[:1])
        if self._paused_since is not None:
            moments.append(self._paused_since + _LONGEST_PAUSE_S + 0.001)
        elif self.pacing.confirms:
            moments.append(self._deadline())
        if self._next_byte_at > now and self._line < len(self._lines):
            moments.append(self._next_byte_at)
        return min(moments) if moments else now + 0.05

    # --- what goes out -----------------------------------------------------------------------

    def _next_bytes(self, now: float) -> bytes:
        """As many bytes as may go out now."""
        if self._paused_since is not None:
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
                self._behind += take
            if self._offset == len(line):
                self._line += 1
                self._offset = 0
                if self._line - 1 == self.confirmed:
                    self._behind = 0
            self._schedule(now, len(out), ended=self._offset == 0)
        return bytes(out)

    def _allowance(self) -> int:
        """How many bytes may follow what is outstanding."""
        limit = 1 << 30
        if self._line > self.confirmed:  # a line end is out and not confirmed
            limit = max(0, self.pacing.receive_buffer - 1) - self._behind
        if self.pacing.line_window and self.pacing.echo and self.pacing.confirms:
            limit = min(limit, self.pacing.line_window - self._unechoed())
        return limit

    def _unechoed(self) -> int:
        """Bytes sent whose echo has not come back."""
        sent = sum(len(self._lines[i]) for i in range(self._prompted, self._line)) + self._offset
        current = self._lines[self._prompted] if self._prompted < len(self._lines) else b""
        return sent - min(self._matched, len(current))

    def _schedule(self, now: float, written: int, *, ended: bool) -> None:
        """Set when the next byte may go, where the clock paces and not the echo."""
        pacing = self.pacing
        if pacing.char_gap_s:
            self._next_byte_at = now + pacing.char_gap_s
        if ended and not pacing.confirms:
            free = max(now, self._wire_free) + written * pacing.byte_s
            stored = free + pacing.line_s * TIMED_MARGIN + pacing.char_s + _TIMED_SLACK_S
            self._next_byte_at = stored
            self._prompted += 1
            self._guards.append(stored)
