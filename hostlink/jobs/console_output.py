"""What a board sends to the console: rows to show, a prompt, the answer to the entered line."""

from __future__ import annotations

from collections.abc import Callable

from hostlink.jobs.board_rows import BoardRows
from hostlink.link.exchange import QUIET_WITHOUT_PROMPT_S
from hostlink.link.hearing import asks_after_s
from hostlink.link.pacing import Pacing, ends_with_prompt

_MOST_ANSWER = 65_536  # bytes of an answer that are kept
_MOST_TAIL = 80  # bytes kept to recognise the prompt by; more than any prompt has


class ConsoleOutput:
    """Collects the output of a board.

    charset: the board's character set. show: called with each row, safe to print. last: the time of
    the last byte, in seconds.
    """

    def __init__(self, charset: str, show: Callable[[str], None]) -> None:
        self.last = 0.0
        self._rows = BoardRows(charset, show)
        self._tail = bytearray()
        self._line: str | None = None  # the entered line whose answer is collected
        self._is_stored = False  # that line is not answered by a ready message
        self._answer = bytearray()

    @property
    def partial(self) -> str:
        """Return the row that has not ended yet, safe to print."""
        return self._rows.partial

    @property
    def asks_at(self) -> float:
        """Return when the unfinished row counts as a question if nothing more comes (seconds)."""
        return self.last + asks_after_s(bytes(self._rows.row))

    def use_charset(self, charset: str) -> None:
        """Decode output in another character set from now on."""
        self._rows.charset = charset

    def begin(self, row: bytes, now: float) -> None:
        """Start again. row: the bytes already in the unfinished row, such as the prompt."""
        self._tail[:] = row
        self._is_stored = False
        # A prompt that stands in a row of its own has ended that row.
        self._rows.begin(b"" if row.endswith((b"\r", b"\n")) else row)
        self.forget_line()
        self.last = now

    def line_follows(self, line: str | None) -> None:
        """Collect the answer to a line that is about to be typed; None collects none."""
        self._line = line
        self._is_stored = line is not None and not line.lstrip()[:1].strip("0123456789")
        self._answer.clear()
        self._tail.clear()

    def line_entered(self, *, echo: bool) -> None:
        """Note that the line end was sent. echo: its echo will come, and is no row."""
        self._rows.begin(swallow_end=echo)

    def forget_line(self) -> None:
        """Stop collecting the answer to a line."""
        self._line = None
        self._answer.clear()

    def take(self, data: bytes, now: float) -> None:
        """Take bytes from the board and show the rows that they finish."""
        self.last = now
        if self._line is not None and len(self._answer) < _MOST_ANSWER:
            self._answer += data
        self._rows.take(data)
        self._tail += data
        del self._tail[:-_MOST_TAIL]

    def take_answer(self) -> tuple[str | None, bytes]:
        """Return the entered line, None if there is none, and its answer; then forget them."""
        line, answer = self._line, bytes(self._answer)
        self.forget_line()
        return line, answer

    def ends_with_prompt(self, pacing: Pacing) -> bool:
        """Return whether the prompt was received last, so that only quiet has to follow.

        If no prompt will come, the end of a row counts instead.
        """
        if self._has_prompt(pacing):
            return ends_with_prompt(self._tail, pacing)
        return not self._rows.row and (bool(self._tail) or not pacing.echo)

    def _has_prompt(self, pacing: Pacing) -> bool:
        """Return whether a prompt will come: a ready message answers direct commands only."""
        return bool(pacing.prompt or (pacing.ready and not self._is_stored))

    def quiet_at(self, pacing: Pacing) -> float:
        """Return the time, in seconds, at which the line counts as quiet if nothing more comes."""
        quiet_s = pacing.quiet_s if self._has_prompt(pacing) else QUIET_WITHOUT_PROMPT_S
        return self.last + max(quiet_s, pacing.guard_s)
