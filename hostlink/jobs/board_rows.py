"""Splitting the output of a board into rows, with the row that has not ended yet."""

from __future__ import annotations

from collections.abc import Callable

from hostlink.listing import to_text
from hostlink.words import safe

_LONGEST_ROW = 512  # bytes; a longer row is shown in parts
_LINE_ENDS = b"\r\n"


class BoardRows:
    """Splits output at CR, LF, CR LF or LF CR, in whatever pieces it arrives.

    show: called with each finished row. row: the bytes of the unfinished row: the prompt, or a
    program's question. render: converts a row to text; the default shows control characters as
    escapes. prompt: not output, held back at the start of a row until more follows; b"" shows it
    like any row. longest: bytes after which a row is shown in parts, 0 for no limit.
    """

    def __init__(
        self,
        charset: str,
        show: Callable[[str], None],
        *,
        render: Callable[[str], str] = safe,
        prompt: bytes = b"",
        longest: int = _LONGEST_ROW,
    ) -> None:
        self.row = bytearray()
        self.charset = charset
        self._show = show
        self._render = render
        self._prompt = prompt
        self._longest = longest
        self._held = bytearray()  # bytes that may be the prompt
        self._line_end = 0  # the last one, while its second half may follow
        self._swallow = False

    @property
    def partial(self) -> str:
        """Return the text of the unfinished row, without what may be the prompt."""
        return self._render(to_text(bytes(self.row), self.charset))

    def begin(self, row: bytes = b"", *, swallow_end: bool = False) -> None:
        """Start again. swallow_end: a line end that comes first is an echo and ends no row."""
        self.row[:] = row
        self._held.clear()
        self._line_end = 0
        self._swallow = swallow_end

    def take(self, data: bytes) -> None:
        """Take bytes from the board."""
        for byte in data:
            if not self._may_hold(byte):
                self._put(byte)

    def close(self) -> None:
        """End the last row at the end of the output; drop the prompt."""
        if self._prompt and len(self._held) % len(self._prompt):
            self._release()
        self._held.clear()
        if self.row:
            self._end_row()

    def _may_hold(self, byte: int) -> bool:
        """Hold back a byte that may belong to the prompt; otherwise release the held bytes."""
        if not self._prompt or self.row:
            return False
        if byte != self._prompt[len(self._held) % len(self._prompt)]:
            self._release()
            if self.row or byte != self._prompt[0]:
                return False
        self._held.append(byte)
        return True

    def _release(self) -> None:
        held = bytes(self._held)
        self._held.clear()
        for byte in held:
            self._put(byte)

    def _put(self, byte: int) -> None:
        before, self._line_end = self._line_end, 0
        swallow, self._swallow = self._swallow, False
        if byte not in _LINE_ENDS:
            self.row.append(byte)
            if len(self.row) == self._longest:
                self._end_row()
            return
        if before and before != byte:
            return  # the other half of a line end
        self._line_end = byte
        if not swallow:
            self._end_row()

    def _end_row(self) -> None:
        self._show(self.partial)
        self.row.clear()
