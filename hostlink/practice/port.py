"""The practice board as a port, on a virtual clock or in real time.

There is no thread: `read`, `write` and `in_waiting` advance the machine to the present first. On a
virtual clock waiting is a jump; in real time it is a short sleep.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from hostlink.open_port import OpenPort, unplugged
from hostlink.practice.machine import Machine
from hostlink.practice.pin_bank import PinBank


class _Clock(Protocol):
    def now(self) -> float: ...
    def sleep(self, seconds: float) -> None: ...


class PracticePort(OpenPort):
    """A port with a practice board at its other end.

    clock: has `now()` and `sleep()`. jump: sets a virtual clock forward to a time; None in real
    time. on_close: called once with the machine when the port is closed.
    """

    _NAP = 0.001  # seconds of sleep between two looks in real time

    def __init__(
        self,
        machine: Machine,
        clock: _Clock,
        *,
        jump: Callable[[float], None] | None = None,
        on_close: Callable[[Machine], None] | None = None,
    ) -> None:
        super().__init__("practice://")
        self.machine = machine
        self._clock = clock
        self._jump = jump
        self._on_close = on_close
        self._origin = clock.now()
        self._dtr = True
        if machine.settings.restarts_on_open:
            machine.restart(0.0)
        if jump is not None:
            self.wait_until = self._wait_virtual

    def _now(self) -> float:
        """Return the machine time: seconds since the port was opened."""
        self._check_open()
        now = self._clock.now() - self._origin
        self.machine.run_until(now)
        if self.machine.unplugged:
            raise unplugged("The practice board was unplugged")
        return now

    @property
    def in_waiting(self) -> int:
        """Return how many bytes from the board can be read now."""
        return self.machine.host_waiting(self._now())

    @property
    def dtr(self) -> bool:
        """Return the state of the DTR line; switching it on restarts the board."""
        self._check_open()
        return self._dtr

    @dtr.setter
    def dtr(self, value: bool) -> None:
        now = self._now()
        if value and not self._dtr:
            self.machine.restart(now)
        self._dtr = value

    @property
    def pins(self) -> PinBank:
        """Return the pins of the board, to look at."""
        return self.machine.basic.pins

    @property
    def baudrate(self) -> int:
        """Return the speed of the host's side, in baud."""
        self._check_open()
        return self.machine.host_baud

    @baudrate.setter
    def baudrate(self, value: int) -> None:
        self._now()
        self.machine.tune(value)

    def read(self, size: int = 1) -> bytes:
        """Return up to `size` bytes; fewer, or none, when the timeout has passed."""
        now = self._now()
        got = self.machine.host_reads(now, size)
        if got or not self.timeout:
            return got
        deadline = self._clock.now() + self.timeout
        if self._jump is not None:
            self._wait_virtual(deadline)
            return self.machine.host_reads(self._now(), size)
        while not got and self._clock.now() < deadline:
            self._clock.sleep(self._NAP)
            got = self.machine.host_reads(self._now(), size)
        return got

    def write(self, data: bytes) -> int:
        """Send bytes to the board; return how many there were."""
        self.machine.host_sends(bytes(data), self._now())
        return len(data)

    def reset_input_buffer(self) -> None:
        """Discard what the board sent and nobody has read."""
        self.machine.forget_output(self._now())

    def _release(self) -> None:
        """Advance the board to the present and save its state."""
        self.machine.run_until(self._clock.now() - self._origin)
        if self._on_close is not None:
            self._on_close(self.machine)

    def _wait_virtual(self, moment: float) -> None:
        """Jump to `moment` (clock seconds), or to when the first byte can be read if earlier."""
        assert self._jump is not None
        if self._closed or self.machine.unplugged:
            self._now()
        reached = self.machine.run_until(moment - self._origin, stop_at_output=True)
        target = reached + self._origin
        while target - self._origin < reached:  # rounded down, the byte would never be ready
            target = math.nextafter(target, math.inf)
        self._jump(target)
