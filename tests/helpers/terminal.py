"""hostlink run in this process at real terminals: what each got is read from its far end."""

from __future__ import annotations

import fcntl
import io
import os
import pty
import re
import struct
import sys
import termios
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TextIO
from unittest import mock

from prompt_toolkit.application import create_app_session

ROWS, COLUMNS = 50, 900  # wide: what is looked for is not broken into rows

# What our own screens send: rich for live lines, prompt_toolkit for the console (ECMA-48, and the
# private modes of xterm that prompt_toolkit's and rich's documentation name). Nothing of it clears
# the screen, sets a title, deletes (DEL), or ends with "31m", all of which the hostile text does.
_OWN = re.compile(
    r"\x1b\[(?!31m)(?:[0-9;]*m|[0-9]*[ABCD]|[02]?K|[0]?J|6n|\?(?:1|7|12|25|2004)[hl])"
    r"|\r(?=\x1b|\n|\?|page |$)|\x08"
)
_AT_BEGIN = re.compile(r"^\r+", re.MULTILINE)  # has no effect there


@dataclass
class _End:
    """One terminal. far: what stands for the screen. got: all that came there."""

    far: int
    near: int
    got: bytes = b""

    def read(self) -> None:
        """Take all that comes until the near end is closed."""
        while True:
            try:
                data = os.read(self.far, 1 << 16)
            except OSError:
                return
            if not data:
                return
            self.got += data


def _open(stack: ExitStack) -> _End:
    far, near = pty.openpty()
    stack.callback(os.close, far)
    fcntl.ioctl(near, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
    kept = termios.tcgetattr(near)
    kept[1] &= ~termios.OPOST  # every byte arrives as it was written
    kept[3] &= ~termios.ECHO
    termios.tcsetattr(near, termios.TCSANOW, kept)
    return _End(far, near)


def _text(end: _End, mode: str) -> TextIO:
    file = os.fdopen(os.dup(end.near), f"{mode}b", buffering=0 if mode == "w" else -1)
    return io.TextIOWrapper(file, encoding="utf-8", write_through=True)  # type: ignore[arg-type]


@contextmanager
def terminals(typed: bytes) -> Iterator[list[_End]]:
    """Put a terminal in the place of stdin and stdout and another in that of stderr.

    typed: what is typed ahead. Yields both; when the block has ended `got` is complete.
    """
    with ExitStack() as stack:
        ends = [_open(stack), _open(stack)]
        readers = [threading.Thread(target=end.read) for end in ends]
        for reader in readers:
            reader.start()
        os.write(ends[0].far, typed + b"\x04\x04")
        streams = {
            "stdin": _text(ends[0], "r"),
            "stdout": _text(ends[0], "w"),
            "stderr": _text(ends[1], "w"),
        }
        try:
            # prompt_toolkit keeps the first terminal that it has seen, except in a new session.
            with mock.patch.multiple(sys, **streams), create_app_session():
                yield ends
        finally:
            for stream in streams.values():
                stream.close()
            for end in ends:
                os.close(end.near)
            for reader in readers:
                reader.join()


def without_own(got: bytes) -> str:
    """What a terminal got, less what our own screens send on purpose."""
    return _AT_BEGIN.sub("", _OWN.sub("", got.decode("utf-8", "replace")))
