"""A port with something behind it that is no board at its prompt: it sends, echoes or is silent."""

from __future__ import annotations

import random

from hostlink.link.clock import VirtualClock

ROW = b"HELLO\r\n"
MANNERS = {
    "silent": 0.0,
    "prints": 960.0,
    "prints slowly": 1.0,
    "noise": 960.0,
    "rare noise": 5.0,
    "echoes at one speed": 0.0,
    "echoes": 0.0,
    "answers with noise": 0.0,
}
"""What it does, with the bytes a second that it sends by itself."""


class RestlessBoard:
    """Behaves in one of `MANNERS`, at 9600 baud. pulses: how often it was restarted."""

    timeout = 0.05
    SPEED = 9600

    def __init__(self, manner: str) -> None:
        self.clock = VirtualClock()
        self.manner = manner
        self.baudrate = self.SPEED
        self.pulses = 0
        self._dtr = True
        self._coming = bytearray()
        self._sent = 0
        self._random = random.Random(3)

    @property
    def in_waiting(self) -> int:
        due = int(self.clock.now() * MANNERS[self.manner])
        is_text = self.manner.startswith("prints") and self.baudrate == self.SPEED
        for place in range(self._sent, due):
            self._coming.append(ROW[place % len(ROW)] if is_text else self._random.randrange(256))
        self._sent = due
        return len(self._coming)

    def wait_until(self, moment: float) -> None:
        while self.clock.now() < moment and not self.in_waiting:
            self.clock.advance_to(min(moment, self.clock.now() + 0.01))

    def read(self, size: int = 1) -> bytes:
        data = bytes(self._coming[:size])
        del self._coming[:size]
        return data

    def write(self, data: bytes) -> int:
        at_one = self.manner == "echoes at one speed" and self.baudrate == self.SPEED
        if at_one or self.manner == "echoes":
            self._coming += data
        elif self.manner == "answers with noise":
            self._coming += self._random.randbytes(5)
        return len(data)

    @property
    def dtr(self) -> bool:
        return self._dtr

    @dtr.setter
    def dtr(self, value: bool) -> None:
        self.pulses += value and not self._dtr
        self._dtr = value

    def reset_input_buffer(self) -> None:
        self.read(self.in_waiting)

    def close(self) -> None:
        pass
