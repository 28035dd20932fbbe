"""The standard streams, which may be closed or broken when hostlink is started.

The next file that is opened takes the number of a closed stream, and messages would be written
into it. So closed streams are replaced before anything else is opened.
"""

from __future__ import annotations

import codecs
import io
import os
import sys
from typing import Any, TextIO, cast

from hostlink.errors import RefusedError, file_errors

_PLAIN = "hostlink.plain"
_SIGNS = dict(zip("─━┄│┃┤┬└╳█", "-=.||+++X#", strict=True))


def _plain(error: UnicodeError) -> tuple[str | bytes, int]:
    """Replace what a stream's encoding lacks: drawing characters by ASCII, all others by "?"."""
    if not isinstance(error, UnicodeEncodeError):
        return codecs.replace_errors(error)
    lacking = error.object[error.start : error.end]
    return "".join(_SIGNS.get(one, "?") for one in lacking), error.end


codecs.register_error(_PLAIN, _plain)


def check_streams() -> None:
    """Make the standard streams usable. Raises RefusedError if an output stream is closed.

    A closed standard input is replaced by an empty one. Messages on stderr are dropped from then
    on if nobody reads them any more, so that a job goes on to its end.
    """
    closed = [
        name
        for name, stream in (("output", sys.stdout), ("error", sys.stderr))
        if stream is None or stream.closed
    ]
    if sys.stdin is None or sys.stdin.closed:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: PTH123, SIM115 - the place of fd 0
    if closed:
        raise RefusedError(
            f"Standard {' and standard '.join(closed)} {'is' if len(closed) == 1 else 'are'} "
            "closed, so nothing could be reported.",
            kept="Nothing was done.",
            advice="To discard the output, redirect it to the null device (> /dev/null).",
        )
    sys.stderr = cast(TextIO, _Unbroken(sys.stderr))
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper | _Unbroken):
            stream.reconfigure(errors=_PLAIN)


class _Unbroken:
    """A text stream for messages that drops what cannot be written."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        try:
            return self._stream.write(text)
        except OSError:
            discard_stream(self._stream)
            return len(text)

    def flush(self) -> None:
        try:
            self._stream.flush()
        except OSError:
            discard_stream(self._stream)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def discard_stream(stream: TextIO) -> None:
    """Discard what a stream still buffers and everything written to it later."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


def read_input(most: int) -> bytes:
    """Read standard input, at most `most` bytes. Raises RefusedError."""
    with file_errors(RefusedError, "Standard input cannot be read", kept="Nothing was done."):
        return sys.stdin.buffer.read(most)
