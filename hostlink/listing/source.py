"""Decode the bytes of a file, a pipe or the clipboard into the text of a listing.

The caller reads the file, at most LIMIT + 1 bytes of it: more than LIMIT is refused here.
"""

from __future__ import annotations

import codecs

from hostlink.errors import ListingError
from hostlink.listing.charset import check_charset
from hostlink.sentences import check_it_is
from hostlink.words import plural

LIMIT = 1 << 20
"""Largest source in bytes, 1 MiB: a thousand times the program memory of these boards."""

_ORDINARY = frozenset(b"\t\n\r\f\x1a")  # 0x1A ended text files on older systems
_KEPT = "Nothing was changed."
_OTHER_FILE = "Name a file with a listing."


def decode_listing(raw: bytes, *, name: str, charset: str = "utf-8") -> str:
    """Decode a listing: as UTF-8 if it is valid, otherwise in the given charset.

    name: the source's name in messages. charset: the profile's; it must map all 256 byte values,
    otherwise bytes that are not UTF-8 are refused. UTF-16 is recognised by its byte order mark.
    A byte order mark is removed. Raises ListingError if the source is empty, too large, not text,
    or cannot be decoded.
    """
    _refuse_size(raw, name)
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _utf_16(raw, name)
    _refuse_junk(raw, name)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        if not check_charset(charset):
            raise ListingError(
                f"{name} is not UTF-8 text: byte {wrong.start + 1:,} is 0x{raw[wrong.start]:02X}.",
                kept=_KEPT,
                advice="Save it as UTF-8, or name the profile of the board that it came from.",
            ) from wrong
        text = raw.decode(charset)
    return _not_blank(text, name)


def _refuse_size(raw: bytes, name: str) -> None:
    if len(raw) > LIMIT:
        raise ListingError(
            f"{name} is larger than {LIMIT:,} bytes, too large for a listing.",
            kept=_KEPT,
            advice=check_it_is("file"),
        )
    if not raw:
        raise ListingError(f"{name} is empty.", kept=_KEPT, advice=_OTHER_FILE)


def _refuse_junk(raw: bytes, name: str) -> None:
    """Raise ListingError for data other than text: any NUL, or over 5 % control bytes."""
    odd = sum((byte < 32 and byte not in _ORDINARY) or byte == 127 for byte in raw)
    if 0 in raw or odd * 20 > len(raw):
        raise ListingError(
            f"{name} is not text: it has {plural(odd, 'control byte')} among {len(raw):,} bytes.",
            kept=_KEPT,
            advice="Name a listing as plain text, not a firmware image, picture or document.",
        )


def _utf_16(raw: bytes, name: str) -> str:
    try:
        text = raw.decode("utf-16")
    except UnicodeDecodeError as wrong:
        raise ListingError(
            f"{name} is marked as UTF-16 text but cannot be decoded as such.",
            kept=_KEPT,
            advice="Save it as UTF-8.",
        ) from wrong
    if "\0" in text:
        raise ListingError(f"{name} is not text: it holds NUL characters.", kept=_KEPT)
    return _not_blank(text, name)


def _not_blank(text: str, name: str) -> str:
    if not text.strip():
        raise ListingError(f"{name} holds nothing but blanks.", kept=_KEPT, advice=_OTHER_FILE)
    return text
