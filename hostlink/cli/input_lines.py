"""Standard input, read line by line on demand; lines that are not asked for stay unread.

A thread waits for each line, since not every system can tell whether a terminal has one.
"""

from __future__ import annotations

import functools
import os
import queue
import sys
import threading
import time
from collections.abc import Callable
from typing import TextIO

_LONGEST_LINE = 1 << 16  # bytes of an answer; the rest of a longer line is the next one
_NAP_S = 0.02


class InputLines:
    """The lines of one stream.

    live: a person types them. typed_at: when the last line came, in seconds of the monotonic clock.
    """

    def __init__(self, stream: TextIO) -> None:
        self.live = stream.isatty()
        self.typed_at = 0.0
        self._read = _byte_reader(stream)
        self._lines: queue.SimpleQueue[tuple[str, float] | None] = queue.SimpleQueue()
        self._is_reading = False
        self._is_over = False

    def begin(self) -> None:
        """Start waiting for a line."""
        if not (self._is_reading or self._is_over):
            self._is_reading = True
            threading.Thread(target=self._read_line, name="standard input", daemon=True).start()

    def take(self) -> str | None:
        """Return the next line, None if it has not arrived. Raises EOFError at the end of input."""
        self.begin()
        if self._is_over:
            raise EOFError
        try:
            line = self._lines.get(timeout=_NAP_S)
        except queue.Empty:
            return None
        self._is_reading = False
        if line is None:
            self._is_over = True
            raise EOFError
        text, self.typed_at = line
        return text

    def _read_line(self) -> None:
        line = bytearray()
        byte = b""
        while byte != b"\n" and len(line) < _LONGEST_LINE:
            try:
                byte = self._read()
            except (OSError, ValueError):  # a terminal that is gone, a folder, a closed stream
                byte = b""
            if not byte:
                break
            line += byte
        if not line:
            self._lines.put(None)
            return
        try:
            text = line.decode("utf-8")
        except UnicodeDecodeError:
            text = line.decode("latin-1")
        self._lines.put((text.rstrip("\r\n"), time.monotonic()))


def input_lines() -> InputLines:
    """Return the one reader of standard input that all commands of this process share."""
    return _lines_of(sys.stdin)


@functools.lru_cache(maxsize=1)
def _lines_of(stream: TextIO) -> InputLines:
    return InputLines(stream)


def _byte_reader(stream: TextIO) -> Callable[[], bytes]:
    """Return a function that reads one unbuffered byte, so that nothing more is consumed."""
    try:
        return functools.partial(os.read, stream.fileno(), 1)
    except (OSError, ValueError):  # no file: a stream of a test's own
        return functools.partial(stream.buffer.read, 1)
