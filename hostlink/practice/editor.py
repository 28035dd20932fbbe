"""Edit the line that is typed at a board: the effect of each byte, and the answer to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hostlink.practice.kind import KindLanguage, KindStorage
from hostlink.practice.settings import BoardSettings
from hostlink.practice.storing import Storing

_ANSWERED_BEYOND = 2  # erasures beyond the start of a line that are still answered, where they harm
_FOLDING = Storing(KindStorage(case="statements"), KindLanguage())


class Astray(bytes):
    """A typed line in which more characters were erased than typed, where that does harm.

    See `BoardSettings.erase_beyond` for what the board then does.
    """


@dataclass(frozen=True, slots=True)
class Keyed:
    """The effect of one byte. sent: bytes that the board sends. line: the line, if complete."""

    sent: bytes = b""
    line: bytes | None = None


class LineEditor:
    """Collects the bytes of a line. room: returns the characters that it may have now."""

    def __init__(self, settings: BoardSettings, room: Callable[[], int]) -> None:
        self._settings = settings
        self._room = room
        self._ends = settings.line_end[-1:] + settings.also_ends
        self._erase = settings.erase[:1]
        self._cancel = settings.line_cancel[:1]
        self._line = bytearray()
        self._prompt = b""
        self._beyond = 0
        self._end_echo = settings.end_echo or settings.reply_end
        self._late_echo = b""
        self._echoes = [self._echoed(bytes((code,))) for code in range(256)]
        special = self._ends + self._erase + self._cancel + settings.ignored
        text_from = 0 if settings.controls == "text" else 32
        simple = not settings.fold_case and settings.too_long != "ends"
        self._plain = [simple and code >= text_from and code not in special for code in range(256)]

    def begin(self, prompt: bytes) -> None:
        """Begin a new line after a prompt."""
        self._line.clear()
        self._prompt = prompt
        self._beyond = 0
        self._late_echo = b""

    def late_echo(self) -> bytes:
        """Return the echo of a line end that was held back during the work on the line."""
        late, self._late_echo = self._late_echo, b""
        return late

    def take(self, code: int) -> Keyed:
        """Take one byte and return its effect."""
        if self._plain[code]:
            if len(self._line) >= self._room():
                return self._too_long()
            self._line.append(code)
            return self._echoes[code]
        byte = bytes((code,))
        if byte in self._settings.ignored:
            return Keyed()
        if byte in self._ends:
            line = bytes(self._line)
            astray = self._beyond > _ANSWERED_BEYOND
            return self._ended(Astray(line) if astray else line)
        if byte == self._erase:
            return self._erased()
        if byte == self._cancel:
            self._line.clear()
            return Keyed(self._echoed(self._settings.reply_end).sent + self._prompt)
        if code < 32 and self._settings.controls != "text":
            return self._echoed(byte if self._settings.controls == "echoed" else b"")
        return self._text(byte)

    def _text(self, byte: bytes) -> Keyed:
        """Take a character on a board that changes it or ends long lines."""
        if len(self._line) >= self._room():
            return self._too_long()
        if self._settings.fold_case and _FOLDING.folded(bytes(self._line) + b"a")[-1:] == b"A":
            byte = byte.upper()
        self._line += byte
        if self._settings.too_long == "ends" and len(self._line) >= self._room():
            return Keyed(self._echoed(byte).sent, bytes(self._line))
        return self._echoed(byte)

    def _echoed(self, data: bytes) -> Keyed:
        """Return bytes that only a board with echo sends."""
        return Keyed(data if self._settings.echo else b"")

    def _ended(self, line: bytes) -> Keyed:
        """End the line; its line end is echoed now or after the work on the line."""
        self._late_echo = self._echoed(self._end_echo).sent
        now = self._settings.line_done != "echo" or not line.strip()
        return Keyed(self.late_echo() if now else b"", line)

    def _erased(self) -> Keyed:
        if self._line:
            self._line.pop()
            return self._echoed(self._settings.erase_answer)
        if self._settings.erase_beyond == "ignored":
            return Keyed()
        self._beyond += 1
        answered = self._beyond <= _ANSWERED_BEYOND
        return self._echoed(self._settings.erase_answer if answered else b"")

    def _too_long(self) -> Keyed:
        answer = self._settings.too_long_answer
        if self._settings.too_long == "gives-up":
            self._line.clear()
            answer += self._settings.reply_end + self._prompt
        return Keyed(answer)
