"""What the link has to know of a board to send to it without losing a byte."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

# 8N1: a start bit, eight data bits, a stop bit.
BITS_PER_BYTE = 10
# Without any answer the clock alone paces; the host may hand bytes over late and in lumps.
TIMED_MARGIN = 1.1
_BACKSPACE_AND_BELL = b"\b\a"


@dataclass(frozen=True, slots=True)
class Pacing:
    """How a board talks, in bytes and seconds. See hostlink.board.profile.Talk for each value.

    latency_s: the longest time that the bridge may sit on a byte before the host sees it.
    """

    baud: int = 9600
    echo: bool = True
    line_end: bytes = b"\r"
    reply_end: bytes = b"\r\n"
    prompt: bytes = b"> "
    ready: bytes = b""
    line_done: Literal["echo", "prompt", "after-prompt"] = "prompt"
    after_prompt_s: float = 0.0
    receive_buffer: int = 0
    line_s: float = 0.05
    char_s: float = 0.0
    line_window: int = 0
    xon_xoff: bool = False
    line_cancel: bytes = b""
    erase: bytes = b""
    interrupt: bytes = b"\x03"
    full_sign: bytes = b""
    page_prompt: bytes = b""
    page_key: bytes = b""
    latency_s: float = 0.02

    @property
    def direct_end(self) -> bytes:
        """What ends the answer to a direct command; b"" for nothing but silence."""
        return self.ready or self.prompt

    @property
    def deaf_signs(self) -> bytes:
        """The bytes with which a board may answer a character that it has no room to take.

        Where the profile names none these are a backspace, as the commonest kind answers, and a
        bell.
        """
        return self.full_sign[:1] or _BACKSPACE_AND_BELL

    @property
    def guard_s(self) -> float:
        """How long after its prompt, or the echo of its end, a line may still be being stored."""
        return self.after_prompt_s if self.line_done == "after-prompt" else 0.0

    @property
    def byte_s(self) -> float:
        """Seconds that one byte takes on the wire."""
        return BITS_PER_BYTE / self.baud

    @property
    def char_gap_s(self) -> float:
        """Seconds from one character to the next where the clock paces them; 0 at wire speed.

        Where no echo bounds what is under way it has a margin: a byte that comes at the very
        moment at which the one before it is dealt with may be lost.
        """
        if self.char_s <= self.byte_s:
            return 0.0
        return self.char_s * (1.0 if self.echo and self.line_window else TIMED_MARGIN)

    @property
    def quiet_s(self) -> float:
        """How long the line must be still before an answer may be taken as complete.

        At least three line times, twice the bridge latency and a few byte times.
        """
        return max(3 * self.line_s, 2 * self.latency_s, 4 * self.byte_s, 0.03)

    @property
    def patience_s(self) -> float:
        """How long to wait for something that should come at once before calling it lost."""
        return self.quiet_s + 2 * self.line_s + 40 * (self.byte_s + self.char_s) + 0.4

    @property
    def confirms(self) -> bool:
        """Whether the board says by itself that a line is stored."""
        return bool(self.prompt) or (self.echo and self.line_done != "prompt")
