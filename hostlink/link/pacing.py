"""The timing and dialogue properties of a board that sending without loss depends on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

# 8N1: a start bit, eight data bits, a stop bit.
BITS_PER_BYTE = 10
# A board that confirms nothing is paced by time alone, and the host may send late and in bursts.
TIMED_MARGIN = 1.1
_BACKSPACE_AND_BELL = b"\b\a"


@dataclass(frozen=True, slots=True)
class Pacing:
    """How a board communicates, in bytes and seconds. `Talk` of a profile explains each.

    latency_s: the longest time for which the bridge may hold a byte back from the host.
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
        """Return the bytes that end the answer to a direct command; b"" if only silence does."""
        return self.ready or self.prompt

    @property
    def deaf_signs(self) -> bytes:
        """Return the bytes with which a board rejects a character that its memory cannot hold.

        If the profile names none, a backspace, which the commonest kind sends, or a bell.
        """
        return self.full_sign[:1] or _BACKSPACE_AND_BELL

    @property
    def guard_s(self) -> float:
        """Return for how many seconds after its prompt the board may still be storing a line."""
        return self.after_prompt_s if self.line_done == "after-prompt" else 0.0

    @property
    def byte_s(self) -> float:
        """Return the seconds that one byte takes on the wire."""
        return BITS_PER_BYTE / self.baud

    @property
    def char_gap_s(self) -> float:
        """Return the seconds from one character to the next; 0 at wire speed.

        A margin is added where no echo limits the bytes in transit: a byte that arrives at the
        moment when the board finishes the previous one may be lost.
        """
        if self.char_s <= self.byte_s:
            return 0.0
        return self.char_s * (1.0 if self.echo and self.line_window else TIMED_MARGIN)

    @property
    def quiet_s(self) -> float:
        """Return for how many seconds the line must be quiet before an answer counts as complete.

        At least three line times, twice the bridge latency and a few byte times.
        """
        return max(3 * self.line_s, 2 * self.latency_s, 4 * self.byte_s, 0.03)

    @property
    def erasing_s(self) -> float:
        """Return for how many seconds to wait after a key that takes one character back.

        30 ms for the board (common practice, no source) and the time of six bytes of echo.
        """
        return 0.03 + 6 * self.byte_s

    @property
    def patience_s(self) -> float:
        """Return for how many seconds to wait for an immediate answer before it counts as lost."""
        return self.quiet_s + 2 * self.line_s + 40 * (self.byte_s + self.char_s) + 0.4

    @property
    def confirms(self) -> bool:
        """Return whether the board confirms by echo or prompt that a line is stored."""
        return bool(self.prompt) or (self.echo and self.line_done != "prompt")


def ends_with_prompt(heard: bytes | bytearray, pacing: Pacing) -> bool:
    """Return whether the received bytes end with a prompt or ready message at a line start.

    A bell may stand before it. A second prompt directly after the first counts too: a board that is
    slow to start may answer an early line end that way, without a new line.
    """
    for prompt in (pacing.prompt, pacing.ready):
        end = len(heard)
        while prompt and heard.endswith(prompt, 0, end):
            end -= len(prompt)
        if end < len(heard) and (end == 0 or heard[end - 1] in b"\r\n\a"):
            return True
    return False
