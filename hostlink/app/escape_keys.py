"""Escape and a key in one read mean Escape, then that key.

A terminal sends Escape and what follows in one read where the line is slow or a multiplexer sits in
between, and most send Alt and a letter as Escape and the letter (common practice, no source). The
two cannot be told apart. Textual (8.2) turns them into other keys: Escape and 1 into an inverted
exclamation mark, Escape and Enter into Enter. So our own sequences are added to its table.
"""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any, cast

from textual._ansi_sequences import ANSI_SEQUENCES_KEYS
from textual._xterm_parser import XTermParser
from textual.events import Key
from textual.keys import Keys, _character_to_key, key_to_character

_STARTERS = "[O]P_^X"  # begin longer sequences of terminals (ECMA-48, section 5.3)
_AFTER = "after-escape+"
_parse_extended_key = XTermParser._parse_extended_key


class KeyAfterEscape(Key):
    """A printable key that came with an Escape before it; it may have been Alt and that key."""


def _parse_or_ignore(parser: XTermParser, sequence: str) -> list[Key] | None:
    """Parse a key report, and ignore one such as ESC [1;:u, at which Textual's parser fails."""
    try:
        return _parse_extended_key(parser, sequence)
    except (ValueError, OverflowError):
        return [Key(Keys.Ignore, sequence)]


def separate_escapes() -> None:
    """Make Textual's parser read Escape and an ASCII character as two keys, and LF as Enter.

    It then also ignores key reports that it cannot read.
    """
    XTermParser._parse_extended_key = _parse_or_ignore  # type: ignore[method-assign, assignment]
    table = cast(dict[str, Any], ANSI_SEQUENCES_KEYS)
    table["\n"] = table["\r"]  # a paste may come as keys, its line ends as they are
    for code in range(1, 128):
        character = chr(code)
        if character == "\x1b" or character in _STARTERS:
            continue
        if character.isprintable():
            table[f"\x1b{character}"] = (
                Keys.Escape,
                SimpleNamespace(value=f"{_AFTER}{character}"),
            )
        elif isinstance(table.get(character), tuple):
            table[f"\x1b{character}"] = (Keys.Escape, *table[character])


def separated(event: Key) -> Iterator[Key]:
    """Yield the keys that a key stands for: Escape and a letter for Alt and that letter."""
    if event.key.startswith(_AFTER):
        character = event.key.removeprefix(_AFTER)
        yield KeyAfterEscape(_character_to_key(character), character)
        return
    key = event.key.removeprefix("alt+")
    character = event.character or key_to_character(key) or ""
    if key != event.key and len(character) == 1 and character.isprintable():
        yield Key("escape", "\x1b")
        yield KeyAfterEscape(_character_to_key(character), character)
    else:
        yield event
