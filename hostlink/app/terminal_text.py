"""Decode what a terminal sends, so that Textual (8.2) can read it whatever it holds.

Textual fails at a byte that is not UTF-8, such as a stock xterm with another character set sends
for Alt and a letter, or in a paste. After an Escape within a paste it takes the rest for keys,
which would load, keep or leave.
"""

from __future__ import annotations

from codecs import getincrementaldecoder

from textual.drivers import linux_driver

_ESCAPE = "\x1b"
_BEGIN, _END = f"{_ESCAPE}[200~", f"{_ESCAPE}[201~"  # xterm control sequences, bracketed paste
_SUBSTITUTE = "\x1a"  # ECMA-48, section 8.3.148: in the place of a character that is invalid


class TerminalText:
    """Decodes what comes from a terminal, in pieces of any length.

    A byte that is not UTF-8 becomes U+FFFD, an Escape within a paste SUB; no board takes either.
    """

    def __init__(self) -> None:
        self._utf8 = getincrementaldecoder("utf-8")("replace")
        self._is_paste = False
        self._last = ""  # outside a paste, what may be the first part of _BEGIN
        self._held = ""  # within one, what may be the first part of _END

    def decode(self, data: bytes, final: bool = False) -> str:
        """Return the text of the next bytes. final: no bytes follow."""
        left = self._held + self._utf8.decode(data, final)
        self._held = ""
        read = ""
        while left:
            part, left = self._pasted(left) if self._is_paste else self._typed(left)
            read += part
        return read

    def _typed(self, text: str) -> tuple[str, str]:
        """Return the text up to where a paste begins, and the rest."""
        before, begin, _ = (self._last + text).partition(_BEGIN)
        end = len(before + begin) - len(self._last)
        self._is_paste = bool(begin)
        self._last = "" if begin else before[1 - len(_BEGIN) :]
        return text[:end], text[end:]

    def _pasted(self, text: str) -> tuple[str, str]:
        """Return the text up to where the paste ends, and the rest."""
        pasted, end, left = text.partition(_END)
        self._is_paste = not end
        at = pasted.rfind(_ESCAPE)
        if self._is_paste and at >= 0 and _END.startswith(pasted[at:]):
            pasted, self._held = pasted[:at], pasted[at:]
        return pasted.replace(_ESCAPE, _SUBSTITUTE) + end, left


def read_all_bytes() -> None:
    """Have Textual's driver decode by TerminalText."""
    vars(linux_driver)["getincrementaldecoder"] = lambda _: TerminalText
