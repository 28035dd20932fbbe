"""The practice board: one deterministic machine, advanced by `run_until`.

Rules:
1. Time is the caller's. Nothing happens between two calls of `run_until`; everything that would
   have happened by then has happened afterwards. Virtual and real time drive the same code.
2. The processor does one thing at a time. Bytes that arrive while it is busy wait in the receive
   buffer; a byte that finds it full is lost and counted in `overruns`.
3. The interrupt byte is noticed as it arrives (by the receive interrupt) and never waits.
4. The firmware is a generator (see ops.py); the line editor stands here, because it is where bytes
   meet time.
"""

from __future__ import annotations

from collections import deque

from hostlink.practice.basic import Basic
from hostlink.practice.faults import Damage, Faults
from hostlink.practice.ops import Answer, Chore, Firmware, Op, ReadKey, ReadLine, Send, Work
from hostlink.practice.settings import BoardSettings
from hostlink.practice.uart import byte_time, misheard, understood

_FLOOD = b"0123456789 AND SO ON WITHOUT END \r\n"
_BELL = b"\x07"


class Machine:
    """One board on one wire. `host_baud` is what the host's side of the wire is set to."""

    def __init__(
        self,
        settings: BoardSettings | None = None,
        faults: Faults | None = None,
        *,
        host_baud: int | None = None,
    ) -> None:
        self.settings = settings = settings or BoardSettings()
        self.faults = faults or Faults()
        self.host_baud = host_baud or settings.baud
        self.basic = Basic(
            program_bytes=settings.program_bytes,
            eeprom_bytes=settings.eeprom_bytes,
            seed=settings.seed,
            fold_case=settings.fold_case,
        )
        self.overruns = 0
        self.heard = 0
        self.unplugged = False
        self.busy_s = 0.0  # time spent storing lines, for the wire's bound
        self._clear = understood(self.host_baud, settings.baud)
        self._in_time = byte_time(self.host_baud)
        self._out_time = byte_time(settings.baud)
        self._latency = settings.latency_ms / 1000
        self._chores = {
            Chore.STORE: settings.line_ms / 1000,
            Chore.DIRECT: settings.direct_ms / 1000,
            Chore.STATEMENT: settings.statement_ms / 1000,
            Chore.LIST_LINE: settings.list_line_ms / 1000,
            Chore.EEPROM_BYTE: settings.eeprom_byte_ms / 1000,
        }
        self._in_damage = Damage(self.faults.to_board, self.faults.seed * 2 + 1)
        self._out_damage = Damage(self.faults.to_host, self.faults.seed * 2 + 2)
        self._on_wire: deque[tuple[float, int]] = deque()
        self._wire_free = 0.0
        self._to_host: deque[tuple[float, int]] = deque()
        self._out_free = 0.0
        self._start(0.0, booting=False)

    # --- the host's side ---------------------------------------------------------------------

    def host_sends(self, data: bytes, now: float) -> None:
        """Bytes leave the host at `now`; they arrive one byte time after another."""
        start = max(now, self._wire_free)
        self._wire_free = start + len(data) * self._in_time
        if not self._clear:
            for delay, byte in misheard(data, self.host_baud, self.settings.baud):
                self._on_wire.append((start + delay, byte))
            return
        at = start
        for byte in data:
            at += self._in_time
            for arrived in self._in_damage.of(byte) if self.faults.to_board else (byte,):
                self._on_wire.append((at, arrived))

    def host_reads(self, now: float, size: int) -> bytes:
        """Up to `size` bytes that the bridge has handed over by `now`."""
        got = bytearray()
        queue = self._to_host
        while queue and len(got) < size and queue[0][0] <= now:
            got.append(queue.popleft()[1])
        return bytes(got)

    def host_waiting(self, now: float) -> int:
        """How many bytes `host_reads` would give at `now`."""
        count = 0
        for ready, _ in self._to_host:
            if ready > now:
                break
            count += 1
        return count

    def forget_output(self, now: float) -> None:
        """Drop what the bridge has handed over by `now` (an input buffer reset at the host)."""
        while self._to_host and self._to_host[0][0] <= now:
            self._to_host.popleft()

    @property
    def next_ready(self) -> float | None:
        """When the first byte that is on its way can be read by the host, None if none is."""
        return self._to_host[0][0] if self._to_host else None

    # --- power and restart -------------------------------------------------------------------

    def restart(self, now: float) -> None:
        """The restart line was pulled: memory is lost, EEPROM stays, the banner comes."""
        self.run_until(now)
        self._start(max(now, self._t), booting=True)

    def _start(self, at: float, *, booting: bool) -> None:
        """Begin at the firmware's first instruction; `booting` is a restart that loses memory."""
        if booting:
            self.basic.power_on()
            cut = at + self._latency
            self._to_host = deque(entry for entry in self._to_host if entry[0] <= cut)
        self._t = self._out_free = at
        self._boot_until = at + self.settings.restart_ms / 1000 if booting else at
        self._buffer: deque[int] = deque()
        self._interrupted = False
        self._echo_late = False
        self._line = bytearray()
        self._column = 0
        self._listed = 0
        self._firmware = self._main(booting)
        self._begin(next(self._firmware))

    def _main(self, booting: bool) -> Firmware:
        """The firmware's main loop: banner, a stored START program, then line after line."""
        if booting:
            yield Send(self.settings.reply_end + self.basic.banner() + self.settings.reply_end)
            start = self.basic.auto_start()
            if start is not None:
                yield from start
        prompt = self.settings.prompt
        while True:
            typed = yield ReadLine(prompt)
            prompt = self.settings.prompt
            if not isinstance(typed, bytes):
                continue
            numbered = typed.lstrip(b" ")[:1].isdigit()
            if numbered and self.settings.line_done == "after-prompt":
                yield Send(prompt)
                prompt = b""
            yield from self.basic.enter(typed)

    # --- time --------------------------------------------------------------------------------

    def run_until(self, moment: float, *, stop_at_output: bool = False) -> float:
        """Let time pass until `moment`; returns the moment reached.

        stop_at_output: stop earlier, when the first byte can be read by the host.
        """
        while not self.unplugged:
            if stop_at_output and self._to_host:
                moment = min(moment, self._to_host[0][0])
            if self._t > moment:
                break
            if not isinstance(self._op, ReadLine | ReadKey):
                self._finish_op()
            elif not self._take_byte(moment):
                break
        return moment

    def _arrivals(self, until: float) -> None:
        """Move bytes that arrived while the processor was busy into the receive buffer."""
        wire = self._on_wire
        while wire and wire[0][0] <= until and not self.unplugged:
            at, byte = wire.popleft()
            self._hear(at)
            if at < self._boot_until:
                continue
            if byte == self.settings.interrupt[0]:
                self._interrupted = True
            elif len(self._buffer) < self.settings.receive_buffer:
                self._buffer.append(byte)
            else:
                self.overruns += 1

    def _hear(self, at: float) -> None:
        """Count a byte from the host and let the planned mishaps happen."""
        self.heard += 1
        faults = self.faults
        if faults.unplug_after_bytes and self.heard >= faults.unplug_after_bytes:
            self.unplugged = True
        if faults.stall_every_bytes and self.heard % faults.stall_every_bytes == 0:
            self._t = max(self._t, at) + faults.stall_s
        if faults.flood_after_bytes and self.heard == faults.flood_after_bytes:
            self._firmware = self._flood()
            self._begin(next(self._firmware))
        if faults.restart_after_bytes and self.heard == faults.restart_after_bytes:
            self._start(max(self._t, at), booting=True)

    @staticmethod
    def _flood() -> Firmware:
        while True:
            yield Send(_FLOOD)

    def _take_byte(self, moment: float) -> bool:
        """The processor waits for a byte: give it the next one; False if none came by `moment`."""
        op = self._op
        self._arrivals(self._t)
        if self._op is not op or self.unplugged:
            return True
        if self._interrupted:
            self._interrupted = False
            self._line_done(None)
            return True
        if self._buffer:
            self._key(self._buffer.popleft())
            return True
        if not self._on_wire or self._on_wire[0][0] > moment:
            return False
        # Nothing waits and the processor is idle: it takes the byte from the wire as it arrives.
        at, byte = self._on_wire.popleft()
        idle = self._t <= at
        self._hear(at)
        if self._op is not op or self.unplugged or at < self._boot_until:
            return True
        if byte == self.settings.interrupt[0]:
            self._interrupted = True
        elif idle and self._t > at:  # a stall has begun with this very byte
            self._buffer.append(byte)
        else:
            self._t = at
            self._key(byte)
        return True

    def _finish_op(self) -> None:
        """The time of the current operation is over: answer the firmware."""
        op = self._op
        self._arrivals(self._t)
        if self._op is not op or self.unplugged:
            return
        if isinstance(op, Send):
            self._put(op.data)
            self._advance(False)
        elif isinstance(op, Work):
            if self._echo_late:
                self._echo_late = False
                self._put(self.settings.reply_end)
            stoppable = op.chore in (Chore.STATEMENT, Chore.LIST_LINE)
            stopped = self._interrupted and stoppable
            if stopped:
                self._interrupted = False
            elif op.chore is Chore.LIST_LINE and self._page_is_full():
                self._put(self.settings.page_prompt)
                self._begin(ReadKey())
                return
            self._advance(stopped)

    def _page_is_full(self) -> bool:
        self._listed += 1
        return bool(self.settings.page_lines) and self._listed % self.settings.page_lines == 0

    def _advance(self, answer: Answer) -> None:
        self._begin(self._firmware.send(answer))

    def _begin(self, op: Op | ReadKey) -> None:
        """Start an operation of the firmware."""
        self._op = op
        self._t = max(self._t, self._boot_until)
        if isinstance(op, Work):
            seconds = self._chores[op.chore] * op.times
            self._t += seconds
            if op.chore is Chore.STORE:
                self.busy_s += seconds
        elif isinstance(op, ReadLine):
            self._listed = 0
            self._line.clear()
            self._line_prompt = op.prompt or self.settings.prompt
            self._put(op.prompt)

    # --- the line editor ---------------------------------------------------------------------

    def _key(self, byte: int) -> None:
        """One byte typed at the prompt, at INPUT or after a full page."""
        settings = self.settings
        line = self._line
        self._t += settings.char_ms / 1000
        if isinstance(self._op, ReadKey):
            self._put(settings.reply_end)
            self._advance(False)
        elif byte == settings.line_end[-1]:
            self._line_done(bytes(line))
        elif byte == settings.erase[0]:
            if line:
                line.pop()
                self._echo(b"\x08 \x08")
        elif byte == settings.line_cancel[0]:
            line.clear()
            self._echo(settings.reply_end)
            self._put(self._line_prompt)
        elif byte < 32:
            return  # other control bytes, the first half of a CR LF line end among them
        elif len(line) >= settings.longest_line:
            self._put(_BELL)
        else:
            if settings.fold_case and 97 <= byte <= 122 and line.count(b'"') % 2 == 0:
                byte -= 32
            line.append(byte)
            self._echo(bytes((byte,)))

    def _line_done(self, typed: bytes | None) -> None:
        """A line is complete (None: it was interrupted): echo its end now or after the work."""
        if typed is None:
            self._put(self.settings.reply_end)
        elif self.settings.line_done == "echo" and typed.strip():
            self._echo_late = self.settings.echo
        else:
            self._echo(self.settings.reply_end)
        self._advance(typed)

    # --- output ------------------------------------------------------------------------------

    def _echo(self, data: bytes) -> None:
        if self.settings.echo:
            self._put(data)

    def _put(self, data: bytes) -> None:
        """Send bytes: through the transmit buffer, or one after another where there is none."""
        step = self._out_time
        room = (self.settings.transmit_buffer + 1) * step
        width, wrap = self.settings.screen_width, self.settings.wrap_ms / 1000
        for byte in data:
            if width:
                self._column = 0 if byte in b"\r\n" else self._column + 1
                if self._column == width:
                    self._column = 0
                    self._t += wrap
            if self._out_free - self._t > room:
                self._t = self._out_free - room
            self._out_free = max(self._out_free, self._t) + step
            self._deliver(byte)

    def _deliver(self, byte: int) -> None:
        ready = self._out_free + self._latency
        if not self._clear:
            for _, heard in misheard((byte,), self.settings.baud, self.host_baud):
                self._to_host.append((ready, heard))
            return
        if not self.faults.to_host:
            self._to_host.append((ready, byte))
            return
        for arrived in self._out_damage.of(byte):
            self._to_host.append((ready, arrived))
