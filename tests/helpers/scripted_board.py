"""A board that answers as a test says: truly, wrongly, late, or not at all."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from hostlink.link.clock import VirtualClock
from hostlink.practice.uart import heard_at_other_speed

PROMPT = b"> "
_BYTE_S = 0.001

Answer = Callable[[str], bytes | list[tuple[float, bytes]]]


class ScriptedBoard:
    """A port with a board behind it that echoes what is typed and answers each line by `answer`.

    answer: gets the line, without its end; returns what the board sends after the echo, prompt
    included, or a list of such parts, each with the seconds that pass before it comes.
    typed: every line that was entered. silent: it sends nothing any more.
    """

    timeout = 0.05
    dtr = True

    def __init__(
        self,
        clock: VirtualClock,
        answer: Answer,
        *,
        echo: bool = True,
        line_end: bytes = b"\r",
        reply_end: bytes = b"\r\n",
        blank: bytes = PROMPT,
        baud: int = 9600,
    ) -> None:
        """blank: what answers an empty line. baud: the board's speed; at another one what is sent
        is misheard in both directions."""
        self.clock = clock
        self.answer = answer
        self.echo = echo
        self.baudrate = baud
        self._baud = baud
        self._line_end = line_end
        self._reply_end = reply_end
        self._blank = blank
        self.typed: list[str] = []
        self.silent = False
        self._line = bytearray()
        self._coming: deque[tuple[float, bytes]] = deque()
        self._free = 0.0

    @property
    def in_waiting(self) -> int:
        return int(bool(self._coming) and self._coming[0][0] <= self.clock.now())

    def read(self, size: int = 1) -> bytes:
        here = bytearray()
        while self.in_waiting and len(here) < size:
            here += self._coming.popleft()[1]
        return bytes(here)

    def write(self, data: bytes) -> int:
        heard = data
        if self.baudrate != self._baud:
            heard = bytes(byte for _, byte in heard_at_other_speed(data, self.baudrate, self._baud))
        for byte in heard:
            self._key(byte)
        return len(data)

    def reset_input_buffer(self) -> None:
        self._coming.clear()

    def close(self) -> None:
        """Nothing is held."""

    def wait_until(self, moment: float) -> None:
        """Let virtual time pass, up to the next byte (see hostlink.link.port.SelfTimedPort)."""
        self.clock.advance_to(min(moment, self._coming[0][0]) if self._coming else moment)

    def _key(self, byte: int) -> None:
        if byte == self._line_end[-1]:
            line, self._line = self._line.decode("latin-1"), bytearray()
            if self.echo:
                self._send(self._reply_end)
            self._enter(line)
        elif byte == 8:
            if self._line:
                self._line.pop()
                self._send(b"\x08 \x08")
        elif byte >= 32 or byte == 13:
            self._line.append(byte)
            if self.echo:
                self._send(bytes([byte]))

    def _enter(self, line: str) -> None:
        if line.strip("\r"):
            self.typed.append(line)
        given = self.answer(line) if line.strip("\r") else self._blank
        for pause, data in given if isinstance(given, list) else [(0.0, given)]:
            self._send(data, pause)

    def _send(self, data: bytes, pause: float = 0.0) -> None:
        if self.silent:
            return
        if self.baudrate != self._baud:
            data = bytes(byte for _, byte in heard_at_other_speed(data, self._baud, self.baudrate))
        for byte in data:
            self._free = max(self._free, self.clock.now()) + pause + _BYTE_S
            self._coming.append((self._free, bytes([byte])))
            pause = 0.0
