"""Reading recordings of the wire back, for tests; hostlink itself only writes them."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

from hostlink.link.recording import Burst, Side

_ROW = re.compile(r'(\d+\.\d)  (host|board)  (".*")')


def read_recording(text: str) -> Iterator[Burst]:
    """Yield the bursts of a recording; a line that is none fails the test."""
    for line in text.splitlines():
        match = _ROW.fullmatch(line)
        assert match is not None, line
        side: Side = "host" if match[2] == "host" else "board"
        yield Burst(float(match[1]), side, json.loads(match[3]).encode("latin-1"))
