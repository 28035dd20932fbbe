"""Find the line of each key in a TOML text, to name it in messages about a wrong value.

`tomllib` returns values without their places. This scans a text that `tomllib` has already
accepted, so it only needs to know where quotes, brackets and comments end.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter

Path = tuple[str, ...]

DEEPEST = 3  # parts of a path that are noted; a profile has no key below that

_TOKEN = re.compile(
    r'''(?P<long>"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5})'''
    r"""|(?P<quoted>"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
    r"|(?P<comment>\#[^\n]*)|(?P<bare>[A-Za-z0-9_-]+)|(?P<mark>[^\w\s]|\n)|(?P<rest>\s|\w)",
    re.DOTALL,
)


def key_lines(text: str) -> dict[Path, int]:
    """Return the line, from 1, of every table and key outside inline tables. text: valid TOML.

    The tables of an array have their place, from 0, after its name: `("learner", "0", "name")`.
    """
    lines: dict[Path, int] = {}
    places: Counter[Path] = Counter()
    table: Path = ()
    parts: list[str] = []
    state, depth, line = "key", 0, 1
    for token in _TOKEN.finditer(text):
        kind, word = token.lastgroup, token[0]
        if word == "\n" and not depth:
            state, parts = "key", []
        elif state == "value":
            depth += (word in "[{") - (word in "]}") if kind == "mark" else 0
        elif kind in ("bare", "quoted"):
            parts.append(_part(word))
        elif word == "[" and not parts:
            state = "table"
        elif word == "]" and state == "table":
            table = tuple(parts)
            state = "tables"
            _note(lines, (), table, line)
        elif word == "]" and state == "tables":
            name, table = table, (*table, str(places[table]))
            places[name] += 1
            _note(lines, (), table, line)
        elif word == "=" and state == "key":
            _note(lines, table, tuple(parts), line)
            state = "value"
        line += word.count("\n")
    return lines


def line_of_key(lines: dict[Path, int], path: Path) -> int | None:
    """Return the line of a key, or of the nearest table around it that has one."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None


def _note(lines: dict[Path, int], table: Path, key: Path, line: int) -> None:
    """Note a key, and each table that a dotted key opens on its way; the first place counts."""
    path = (*table[:DEEPEST], *key[:DEEPEST])[:DEEPEST]
    for length in range(min(len(table) + 1, len(path)), len(path) + 1):
        lines.setdefault(path[:length], line)


def _part(word: str) -> str:
    if word[0] == '"':
        return str(tomllib.loads(f"key = {word}")["key"])
    return word.strip("'") if word[0] == "'" else word
