"""Write values of a profile as TOML, and show wrong ones in messages."""

from __future__ import annotations

import re
from collections.abc import Sequence

from hostlink.writing import toml_string

_SHOWN = 48  # characters of a wrong value that a message repeats
_WIDTH = 96  # columns of a written line


def written(value: object) -> str:
    """Return a profile's value as TOML that reads back equal."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, bytes):
        return toml_string(value.decode("latin-1"), plain=True)
    if isinstance(value, str):
        return toml_string(value)
    if isinstance(value, tuple) and value and all(map(_is_cost, value)):
        return "{ " + ", ".join(f"{key_written(w)} = {n}" for w, n in value) + " }"
    if isinstance(value, tuple):
        return _list_written([written(item) for item in value])
    raise TypeError(f"a profile holds no {type(value).__name__}")


def key_written(key: str) -> str:
    """Return a TOML key, in quotes where it needs them."""
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else toml_string(key)


def _is_cost(item: object) -> bool:
    return isinstance(item, tuple) and len(item) == 2 and isinstance(item[0], str)


def _list_written(items: Sequence[str]) -> str:
    """Return a TOML array, on as many lines as it needs."""
    if sum(map(len, items)) + 2 * len(items) < _WIDTH - 20:
        return "[" + ", ".join(items) + "]"
    rows, row = [], "   "
    for item in items:
        if len(row) + len(item) + 2 > _WIDTH and row.strip():
            rows.append(row)
            row = "   "
        row += f" {item},"
    return "\n".join(["[", *rows, row, "]"])


def short_value(value: object) -> str:
    """Return a wrong value for a message: short, on one line, without control characters."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        cut = value if len(value) <= _SHOWN else value[:_SHOWN] + "..."
        return '"' + "".join(ch if ch.isprintable() else f"\\u{ord(ch):04x}" for ch in cut) + '"'
    if isinstance(value, int | float):
        digits = repr(value)
        return digits if len(digits) <= _SHOWN else digits[:_SHOWN] + "..."
    if isinstance(value, list):
        return f"a list of {len(value)}" if value else "an empty list"
    return "a table" if isinstance(value, dict) else "a date or time"
