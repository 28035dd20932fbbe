"""What a board sends, cut into rows that are safe to print, and the row that has not ended yet."""

from __future__ import annotations

from collections.abc import Callable

from hostlink.listing import to_text
from hostlink.words import safe

_LONGEST_ROW = 512  # bytes; a longer row is shown in parts
_CR, _LF = 13, 10


class BoardRows:
    """Rows end with CR, LF or CR LF, however they are cut on their way.

    show: called with each whole row, its control characters as escapes. row: the bytes of the row
    that has not ended: the prompt, or a program's question.
    """

    def __init__(self, charset: str, show: Callable[[str], None]) -> None:
        self.row = bytearray()
        self.charset = charset
        self._show = show
        self._after_cr = False
        self._swallow = False

    @property
    def partial(self) -> str:
        """The row that has not ended, safe to print."""
        return safe(to_text(bytes(self.row), self.charset))

    def begin(self, row: bytes = b"", *, swallow_end: bool = False) -> None:
        """Begin anew. swallow_end: a line end that comes first is the echo of ours, and no row."""
        self.row[:] = row
        self._after_cr = False
        self._swallow = swallow_end

    def take(self, data: bytes) -> None:
        """Bytes from the board."""
        for byte in data:
            if byte == _LF and self._after_cr:
                self._after_cr = False
                continue
            self._after_cr = byte == _CR
            ended = byte in (_CR, _LF)
            if not ended:
                self.row.append(byte)
            if (ended and not self._swallow) or len(self.row) >= _LONGEST_ROW:
                self._show(self.partial)
                self.row.clear()
            self._swallow = False
