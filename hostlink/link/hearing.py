"""Telling what a board is doing: printing, asking for input, working, or at its prompt.

Rules:
1. A prompt counts only at the start of a row and after a quiet time. Numbers in it may have
   changed: some boards show their free memory there.
2. An unfinished row that looks like a question counts as one after a short silence. Any other
   silence may also be a question (some programs ask with plain text, or with none), or the program
   may be working; it counts as a question only after a longer time.
3. A board without a prompt has finished when its last row has ended and nothing follows.
"""

from __future__ import annotations

import re

from hostlink.link.exchange import QUIET_WITHOUT_PROMPT_S
from hostlink.link.pacing import Pacing, ends_with_prompt

ASKS_AFTER_S = 0.6
MAY_ASK_AFTER_S = 2.0
_MOST_KEPT = 1024  # bytes; more than any prompt or question has
_ASKING_SIGNS = (b"?", b":")  # common practice, no source
_DIGITS = re.compile(rb"[0-9]+")


def _like(prompt: bytes) -> re.Pattern[bytes]:
    """Return a pattern for a prompt whose numbers may differ, such as the free memory."""
    parts = (re.escape(part) for part in _DIGITS.split(prompt.lstrip(b"\r\n")))
    return re.compile(rb"(?:^|[\r\n])" + rb"[0-9]+".join(parts) + rb"$")


def looks_like_question(row: bytes) -> bool:
    """Return whether an unfinished row ends in a question mark or a colon."""
    return row.rstrip(b" ").endswith(_ASKING_SIGNS)


def asks_after_s(row: bytes) -> float:
    """Return after how many seconds of silence an unfinished row counts as a question."""
    return ASKS_AFTER_S if looks_like_question(row) else MAY_ASK_AFTER_S


class Hearing:
    """The bytes received since the last line was typed. `last`: time of the last byte, seconds."""

    def __init__(self, pacing: Pacing) -> None:
        self.last = 0.0
        self._pacing = pacing
        end = pacing.direct_end
        self._like_prompt = _like(end) if _DIGITS.search(end) else None
        self._kept = bytearray()

    def begin(self, now: float) -> None:
        """Start over after a line end that has been sent by `now` (clock seconds)."""
        self._kept.clear()
        self.last = now

    def take(self, now: float, data: bytes) -> None:
        """Add bytes that the board sent at `now` (clock seconds)."""
        self.last = now
        self._kept += data
        del self._kept[:-_MOST_KEPT]

    @property
    def heard(self) -> bool:
        """Return whether anything was received since the last line was typed."""
        return bool(self._kept)

    @property
    def is_line_end_damaged(self) -> bool:
        """Return whether just one byte came in answer: the line end was damaged on its way."""
        return len(self._kept) == len(self.row) == 1 and not self.asks_plainly

    @property
    def row(self) -> bytes:
        """Return the unfinished row: a prompt, a question, or output."""
        end = max(self._kept.rfind(b"\r"), self._kept.rfind(b"\n"))
        return bytes(self._kept[end + 1 :])

    @property
    def asks_plainly(self) -> bool:
        """Return whether the unfinished row looks like a question."""
        return looks_like_question(self.row)

    @property
    def asks_at(self) -> float:
        """Return when the board counts as asking for input if nothing more comes (seconds)."""
        return self.last + asks_after_s(self.row)

    def prompt_at(self, stray: bytes = b"") -> float | None:
        """Return when the board counts as being at its prompt if nothing more comes, or None.

        stray: characters typed to a program that did not read them. The board may have buffered
        some, and echo them after its prompt.
        """
        pacing = self._pacing
        if pacing.direct_end:
            shown = self._shows_prompt(stray)
            return self.last + max(pacing.quiet_s, pacing.guard_s) if shown else None
        if self.row or (pacing.echo and not self.heard):
            return None
        return self.last + max(QUIET_WITHOUT_PROMPT_S, pacing.quiet_s)

    def _shows_prompt(self, stray: bytes) -> bool:
        kept = bytes(self._kept)
        for _ in range(len(stray) + 1):
            if ends_with_prompt(kept, self._pacing):
                return True
            if self._like_prompt is not None and self._like_prompt.search(kept):
                return True
            if kept[-1:] not in stray:
                break
            kept = kept[:-1]
        return False
