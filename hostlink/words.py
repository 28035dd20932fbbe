"""Words that every part of hostlink says in the same way: counts, and foreign text made safe."""

from __future__ import annotations


def safe(text: str, *, keep: str = "") -> str:
    """Return text with everything that a terminal might obey shown as an escape.

    keep: control characters that stay as they are, such as line feeds in a listing.
    """
    if text.isprintable():
        return text
    return "".join(one if one.isprintable() or one in keep else _escape(one) for one in text)


def _escape(character: str) -> str:
    code = ord(character)
    for letter, digits in (("x", 2), ("u", 4)):
        if code < 16**digits:
            return f"\\{letter}{code:0{digits}x}"
    return f"\\U{code:08x}"


def plural(count: int, word: str) -> str:
    """Return a count with its word: 1 line, 2 lines, 1,026 bytes."""
    return f"{count:,} {word}" + ("" if count == 1 else "s")


def capital(words: str) -> str:
    """Return words fit for the start of a sentence: The practice board."""
    return words[:1].upper() + words[1:]
