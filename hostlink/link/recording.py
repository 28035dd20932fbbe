"""A readable recording of the wire: one line per burst, `milliseconds  host|board  "text"`.

Milliseconds count from the start of the recording. The text is a JSON string (RFC 8259, section 7)
in which each byte is the character with the same code, so that every byte is readable and can be
read back exactly.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from hostlink.errors import HostlinkError, file_errors, system_words
from hostlink.sentences import NOTHING_SENT

Side = Literal["host", "board"]


@dataclass(frozen=True, slots=True)
class Burst:
    """Bytes that passed together: milliseconds since the start, who sent them, the bytes."""

    at_ms: float
    side: Side
    data: bytes


class Recorder:
    """Write a recording line by line, so that it is complete up to a possible crash."""

    def __init__(self, path: Path) -> None:
        self._path = path
        with file_errors(
            HostlinkError,
            f"The recording {path} cannot be written",
            kept=NOTHING_SENT,
            advice=lambda by: f"Name another file {by.record_elsewhere}.",
        ):
            self._file = path.open("w", encoding="ascii", newline="\n", buffering=1)
        self._start: float | None = None

    def note(self, now: float, side: Side, data: bytes) -> None:
        """Record the bytes that one side sent at clock time `now` (seconds)."""
        if self._start is None:
            self._start = now
        with self._told():
            self._file.write(row(Burst((now - self._start) * 1000, side, data)))

    def close(self) -> None:
        """Close the recording. Raises HostlinkError if its last lines cannot be written."""
        with self._told():
            self._file.close()

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            with contextlib.suppress(OSError):  # the buffered rest cannot be written either
                self._file.close()
            raise HostlinkError(
                f"The recording {self._path} cannot be written any further: {system_words(error)}.",
                kept="The recording is complete up to here.",
                advice=lambda by: f"Free some space, or turn recording off {by.keep_no_record}.",
            ) from error


def row(burst: Burst) -> str:
    """Return a burst as one line of a recording."""
    return f"{burst.at_ms:.1f}  {burst.side}  {json.dumps(burst.data.decode('latin-1'))}\n"
