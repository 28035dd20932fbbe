"""Convert bytes to text and back without loss, with the single-byte codec of a profile.

A capture may contain any byte, so the codec must map all 256 values one to one, as latin-1 and
cp437 do. cp1252 (five undefined values) and utf-8 do not.
"""

from __future__ import annotations

from functools import lru_cache

from hostlink.errors import ListingError, ProfileError
from hostlink.listing.rules import Form
from hostlink.sentences import mend_or_change

_EVERY_BYTE = bytes(range(256))


@lru_cache(maxsize=64)
def check_charset(name: str) -> bool:
    """Return whether a Python codec maps all 256 byte values to characters, one to one."""
    try:
        text = _EVERY_BYTE.decode(name)
        return len(set(text)) == 256 == len(text) and text.encode(name) == _EVERY_BYTE
    except (LookupError, ValueError, TypeError):  # unknown, undefined values, not a text codec
        return False


def to_text(data: bytes, charset: str) -> str:
    """Decode bytes to text, one character for each byte.

    Raises ProfileError if the charset does not map every byte.
    """
    _need(charset)
    return data.decode(charset)


def to_bytes(text: str, charset: str) -> bytes:
    """Encode text to bytes, one byte for each character.

    Raises ListingError naming the first character that the charset lacks, ProfileError if the
    charset does not map every byte.
    """
    _need(charset)
    try:
        return text.encode(charset)
    except UnicodeEncodeError as wrong:
        character = text[wrong.start]
        raise ListingError(
            f"The character {character_name(character)} is not in the board's character set "
            f"({charset}).",
            kept="Nothing was changed.",
            advice=mend_or_change("the character"),
        ) from wrong


def cannot_take(text: str, form: Form) -> tuple[tuple[int, str], ...]:
    """Return the characters of a line that the board rejects: (index from 0, character)."""
    allowed = _allowed(form.charset, form.characters)
    return tuple((at, char) for at, char in enumerate(text) if char not in allowed)


def accepts_character(character: str, form: Form) -> bool:
    """Return whether the board accepts a character in a line."""
    return character in _allowed(form.charset, form.characters)


def character_name(character: str) -> str:
    """Return a character for a message: itself if it is visible, and its code."""
    code = f"U+{ord(character):04X}"
    return f"{character} ({code})" if character.isprintable() and character != " " else code


@lru_cache(maxsize=64)
def _allowed(charset: str, ranges: tuple[tuple[int, int], ...]) -> frozenset[str]:
    _need(charset)
    values = {value for first, last in ranges for value in range(max(0, first), min(255, last) + 1)}
    return frozenset(bytes(sorted(values)).decode(charset))


def _need(charset: str) -> None:
    if not check_charset(charset):
        raise ProfileError(
            f'The charset "{charset}" does not map all 256 byte values one to one.',
            advice="Name a single-byte codec that does, such as latin-1 or cp437.",
        )
