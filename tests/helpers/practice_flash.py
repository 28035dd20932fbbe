"""The flash of a practice board, changed in its file while no port to it is open."""

from __future__ import annotations

import base64
import json
import zlib
from pathlib import Path


def blank_flash(place: Path, board: str = "class") -> None:
    """Blank the flash of a practice board: it has its bootloader and nothing else.

    place: the folder of the test, in which `practice` has the boards.
    """
    path = place / "practice" / f"{board}.json"
    state = json.loads(path.read_text(encoding="utf-8"))
    state["flash"] = base64.b64encode(zlib.compress(b"\xff" * 32_768)).decode("ascii")
    path.write_text(json.dumps(state), encoding="utf-8")
