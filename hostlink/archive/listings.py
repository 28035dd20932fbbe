"""Listings as rows: each once, by the SHA-256 of its exact bytes.

The text is plain, for any tool. The exact bytes and the canonical text are nearly the same text
again, so they are stored only where they differ, as zlib streams with the text as preset
dictionary: some tens of bytes instead of the whole. Their hashes prove that they come back equal.
"""

from __future__ import annotations

import re
import zlib
from typing import Any

from sqlite_utils import Database

from hostlink.archive.database.faults import DamagedError, look_for_damage
from hostlink.archive.database.rows import Row, first, insert
from hostlink.archive.records import Content
from hostlink.archive.search_words import spaced, words_only_in
from hostlink.errors import ArchiveError
from hostlink.listing.charset import check_charset
from hostlink.listing.source import LIMIT

LARGEST_LISTING = 4 * LIMIT
"""Bytes of a listing in any form: LIMIT as it was read, four times that if all is recoded."""
_PLAIN = ("utf-8", "ascii")  # and every codec of single bytes
_LINE_END = re.compile(r"\r\n|\n|\r")


def pack(data: bytes, text: str) -> bytes:
    """Compress data that is much like text."""
    packer = zlib.compressobj(9, zdict=_dictionary(text))
    return packer.compress(data) + packer.flush()


def unpack(packed: bytes, text: str) -> bytes:
    """What pack was given. Raises zlib.error when the stream is damaged."""
    unpacker = zlib.decompressobj(zdict=_dictionary(text))
    data = unpacker.decompress(packed, LARGEST_LISTING)
    if not unpacker.eof:
        raise zlib.error("the packed bytes end too early, or hold more than any listing")
    return data


def _dictionary(text: str) -> bytes:
    """What both sides know: the text in capitals, as many boards list it, and as it is.

    Only ASCII letters are changed, so that it is the same in every version of Unicode.
    """
    data = text.encode() or b"\0"
    return data.upper() + data


def lines_in(text: str) -> int:
    """How many lines of a text hold more than blanks."""
    return sum(1 for row in _LINE_END.split(text) if row.strip(" \t"))


def check_content(content: Content) -> None:
    """Refuse content that no file could give back. Raises ArchiveError."""
    try:
        content.text.encode()
        content.canonical.encode()
    except UnicodeEncodeError as error:
        raise ArchiveError(
            "The listing was not kept: its text holds half of a character pair "
            f"(U+{ord(error.object[error.start]):04X}).",
            kept="The bytes it was read from are where they were.",
            advice="Read it with the right character set.",
        ) from error


def put_listing(db: Database, content: Content, search_text: str | None = None) -> int:
    """The id of the row that holds content, added where it is new.

    search_text: the listing with blanks between keywords and numbers, for the word index; by
    default blanks are put only where letters and digits meet.
    """
    sha256 = bytes.fromhex(content.sha256)
    canonical_sha256 = bytes.fromhex(content.canonical_sha256)
    held = first(
        db,
        "SELECT id FROM listings WHERE sha256 = ? AND canonical_sha256 = ? "
        "AND profile = ? AND charset = ? AND text = ?",
        (sha256, canonical_sha256, content.profile, content.charset, content.text),
    )
    if held:
        return int(held["id"])
    return insert(db, "listings", **listing_columns(content, search_text))


def listing_columns(content: Content, search_text: str | None = None) -> dict[str, Any]:
    """The columns of the row that holds content; search_text as for put_listing."""
    text = content.text
    parted = spaced(text) if search_text is None else search_text
    canonical = content.canonical
    return {
        "sha256": bytes.fromhex(content.sha256),
        "canonical_sha256": bytes.fromhex(content.canonical_sha256),
        "profile": content.profile,
        "charset": content.charset,
        "text": text,
        "raw": None if _encoded(text, content.charset) == content.raw else pack(content.raw, text),
        "canonical": None if canonical == text else pack(canonical.encode(), text),
        "spaced_words": words_only_in(parted, text),
        "line_count": lines_in(text),
    }


def proven_content(row: Row, what: str, size_bytes: int | None = None) -> Content:
    """The content of a whole row of listings, its bytes and canonical text proven by their hashes.

    what: how the error is to call it. size_bytes: what it costs on the board. Raises DamagedError.
    """
    content = _content(row, what, size_bytes)
    if bytes.fromhex(content.sha256) != row["sha256"]:
        raise _damaged(what)
    if bytes.fromhex(content.canonical_sha256) != row["canonical_sha256"]:
        raise _damaged(what)
    return content


def _content(row: Row, what: str, size_bytes: int | None) -> Content:
    try:
        text, charset, profile = row["text"], row["charset"], row["profile"]
        raw = _encoded(text, charset) if row["raw"] is None else unpack(row["raw"], text)
        canonical = text if row["canonical"] is None else unpack(row["canonical"], text).decode()
    except (zlib.error, ValueError, TypeError, AttributeError, LookupError) as error:
        raise _damaged(what) from error
    if raw is None:
        raise _damaged(what)
    return Content(raw, text, canonical, profile, charset, size_bytes)


def _damaged(what: str) -> DamagedError:
    return DamagedError(
        f"{what} is damaged in the archive: its exact bytes cannot be restored.",
        kept="Its text can still be read with any SQLite tool.",
        advice=look_for_damage,
    )


def _encoded(text: str, charset: str) -> bytes | None:
    """The text in its charset, or None where it cannot be written so.

    Only plain codecs are asked: some take a minute for a page (punycode), which a bag may name.
    """
    if charset not in _PLAIN and not check_charset(charset):
        return None
    try:
        return text.encode(charset)
    except UnicodeEncodeError:
        return None
