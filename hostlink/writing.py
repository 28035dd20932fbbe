"""Writing a file whole or not at all, and quoting text for TOML."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file, or replace one, so that an end at any moment leaves the old content or the new.

    Raises OSError, or ValueError for a path that no file can have; nothing was changed then.
    """
    temporary = path.with_name(f".{path.name}.new")
    try:
        with temporary.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())  # else a loss of power could leave an empty file
        temporary.replace(path)
    except (OSError, ValueError):
        with contextlib.suppress(OSError, ValueError):
            temporary.unlink(missing_ok=True)
        raise


def toml_string(text: str, *, plain: bool = False) -> str:
    """Return a TOML basic string; `plain` escapes everything outside ASCII too."""
    short = {"\r": "\\r", "\n": "\\n", "\t": "\\t", '"': '\\"', "\\": "\\\\"}
    parts = []
    for ch in text:
        if ch in short:
            parts.append(short[ch])
        elif ch.isprintable() and (ch.isascii() or not plain):
            parts.append(ch)
        else:
            parts.append(f"\\u{ord(ch):04X}" if ord(ch) < 0x10000 else f"\\U{ord(ch):08X}")
    return '"' + "".join(parts) + '"'
