"""The serial line between host and board, with the speed and damage of bytes in both directions.

The machine at its end takes what arrives and delivers what it sends.
"""

from __future__ import annotations

from collections import deque

from hostlink.practice.faults import Damage, Faults
from hostlink.practice.settings import BoardSettings
from hostlink.practice.uart import byte_time, heard_at_other_speed, speeds_match


class SerialLine:
    """One line. host_baud: the speed of the host's side; the other is that of the board's UART."""

    def __init__(self, settings: BoardSettings, faults: Faults, host_baud: int) -> None:
        self.settings = settings
        self.host_baud = host_baud
        self.faults = faults
        self._latency = settings.latency_ms / 1000
        self._in_time = byte_time(host_baud)
        self._in_damage = Damage(faults.to_board, faults.seed * 2 + 1)
        self._out_damage = Damage(faults.to_host, faults.seed * 2 + 2)
        self._on_wire: deque[tuple[float, int]] = deque()
        self._wire_free = 0.0
        self._to_host: deque[tuple[float, int]] = deque()
        self._out_free = 0.0
        self._column = 0
        self._set_speed(settings.baud)

    def _set_speed(self, baud: int) -> None:
        """Set the board's UART to another speed."""
        self._baud = baud
        self._out_time = byte_time(baud)
        self._clear = speeds_match(self.host_baud, baud)

    def tune(self, host_baud: int) -> None:
        """Set the host's side of the wire to another speed."""
        self.host_baud = host_baud
        self._clear = speeds_match(host_baud, self._baud)
        self._in_time = byte_time(host_baud)

    def host_sends(self, data: bytes, now: float) -> None:
        """Send bytes from the host at time `now`; they arrive one byte time apart."""
        start = max(now, self._wire_free)
        self._wire_free = start + len(data) * self._in_time
        if not self._clear:
            for delay, byte in heard_at_other_speed(data, self.host_baud, self._baud):
                self._on_wire.append((start + delay, byte))
            return
        at = start
        for byte in data:
            at += self._in_time
            for arrived in self._in_damage.of(byte) if self.faults.to_board else (byte,):
                self._on_wire.append((at, arrived))

    def host_reads(self, now: float, size: int) -> bytes:
        """Return up to `size` bytes that the bridge has delivered by `now`."""
        got = bytearray()
        queue = self._to_host
        while queue and len(got) < size and queue[0][0] <= now:
            got.append(queue.popleft()[1])
        return bytes(got)

    def host_waiting(self, now: float) -> int:
        """Return the number of bytes that `host_reads` would return at `now`."""
        count = 0
        for ready, _ in self._to_host:
            if ready > now:
                break
            count += 1
        return count

    def forget_output(self, now: float) -> None:
        """Discard what the bridge has delivered by `now`, as a reset of the input buffer does."""
        while self._to_host and self._to_host[0][0] <= now:
            self._to_host.popleft()

    @property
    def next_ready(self) -> float | None:
        """Return when the host can read the first byte on its way, or None."""
        return self._to_host[0][0] if self._to_host else None

    def _transmit(self, data: bytes, at: float) -> float:
        """Send bytes from `at` on; return the time when the processor is free again.

        They go through the transmit buffer, or one after another if there is none.
        """
        step = self._out_time
        room = (self.settings.transmit_buffer + 1) * step
        width, wrap = self.settings.screen_width, self.settings.wrap_ms / 1000
        for byte in data:
            if width:
                self._column = 0 if byte in b"\r\n" else self._column + 1
                if self._column == width:
                    self._column = 0
                    at += wrap
            if self._out_free - at > room:
                at = self._out_free - room
            self._out_free = max(self._out_free, at) + step
            self._deliver(byte)
        return at

    def _answer(self, data: bytes, ready: float) -> None:
        """Send bytes from `ready` on, without a processor that waits for them.

        The bridge delivers them together after the last one, as a packet: the host needs the whole
        answer anyway, and reading all flash in virtual time takes a tenth of the work.
        """
        self._out_free = max(self._out_free, ready) + len(data) * self._out_time
        for byte in data:
            self._deliver(byte)

    def _deliver(self, byte: int) -> None:
        ready = self._out_free + self._latency
        if not self._clear:
            for _, heard in heard_at_other_speed((byte,), self._baud, self.host_baud):
                self._to_host.append((ready, heard))
            return
        if not self.faults.to_host:
            self._to_host.append((ready, byte))
            return
        for arrived in self._out_damage.of(byte):
            self._to_host.append((ready, arrived))
