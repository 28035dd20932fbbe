"""Store listings as rows, each once, identified by the SHA-256 of its exact bytes.

The text is stored plainly, for any tool. The exact bytes and the canonical text are almost the
same, so they are stored only if they differ, as zlib streams with the text as preset dictionary,
some tens of bytes each. Their hashes prove that they are restored exactly.
"""

from __future__ import annotations

import zlib
from typing import Any

from sqlite_utils import Database

from hostlink.archive.database.database_errors import DamagedError, look_for_damage
from hostlink.archive.database.rows import Row, first, insert
from hostlink.archive.records import Content
from hostlink.archive.search_words import spaced, words_only_in
from hostlink.errors import ArchiveError
from hostlink.listing.charset import check_charset
from hostlink.listing.source import LIMIT
from hostlink.sentences import STILL_READABLE
from hostlink.words import split_rows

LARGEST_LISTING = 4 * LIMIT
"""Bytes of a listing in any form: LIMIT as it was read, four times that if all is recoded."""
_PLAIN = ("utf-8", "ascii")  # and every codec of single bytes


def pack(data: bytes, text: str) -> bytes:
    """Compress data that resembles a text."""
    packer = zlib.compressobj(9, zdict=_dictionary(text))
    return packer.compress(data) + packer.flush()


def unpack(packed: bytes, text: str) -> bytes:
    """Return the data that was given to pack. Raises zlib.error for a damaged stream."""
    unpacker = zlib.decompressobj(zdict=_dictionary(text))
    data = unpacker.decompress(packed, LARGEST_LISTING)
    if not unpacker.eof:
        raise zlib.error("the packed bytes end too early, or hold more than any listing")
    return data


def _dictionary(text: str) -> bytes:
    """Return the preset dictionary for a text: the text in capitals, followed by the text.

    Many boards list in capitals. Only ASCII letters are converted, so that the result is the same
    in every version of Unicode.
    """
    data = text.encode() or b"\0"
    return data.upper() + data


def lines_in(text: str) -> int:
    """Return the number of lines of a text that are not blank."""
    return sum(1 for row in split_rows(text) if row.strip(" \t"))


def check_content(content: Content) -> None:
    """Check that a file can reproduce the content. Raises ArchiveError."""
    try:
        content.text.encode()
        content.canonical.encode()
    except UnicodeEncodeError as error:
        raise ArchiveError(
            "The listing was not kept: its text holds half of a character pair "
            f"(U+{ord(error.object[error.start]):04X}).",
            kept="The bytes that it was read from were not changed.",
            advice="Read it with the right character set.",
        ) from error


def put_listing(db: Database, content: Content) -> int:
    """Return the id of the row that holds content; add it if it is new."""
    sha256 = bytes.fromhex(content.sha256)
    canonical_sha256 = bytes.fromhex(content.canonical_sha256)
    # The plus keeps SQLite from the index of profiles, which nearly all rows of an archive share.
    held = first(
        db,
        "SELECT id FROM listings WHERE sha256 = ? AND canonical_sha256 = ? "
        "AND +profile = ? AND charset = ? AND text = ?",
        (sha256, canonical_sha256, content.profile, content.charset, content.text),
    )
    if held:
        return int(held["id"])
    return insert(db, "listings", **listing_columns(content))


def listing_columns(content: Content) -> dict[str, Any]:
    """Return the columns of the row that holds content."""
    text = content.text
    canonical = content.canonical
    return {
        "sha256": bytes.fromhex(content.sha256),
        "canonical_sha256": bytes.fromhex(content.canonical_sha256),
        "profile": content.profile,
        "charset": content.charset,
        "text": text,
        "raw": None if _encoded(text, content.charset) == content.raw else pack(content.raw, text),
        "canonical": None if canonical == text else pack(canonical.encode(), text),
        "spaced_words": words_only_in(spaced(text), text),
        "line_count": lines_in(text),
    }


def proven_content(row: Row, what: str, size_bytes: int | None = None) -> Content:
    """Return the content of an undamaged row of listings, proven by its hashes.

    what: the subject of the error. size_bytes: the cost of the listing on the board. Raises
    DamagedError.
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
        f"{what} is damaged: its exact bytes cannot be restored.",
        kept=STILL_READABLE,
        advice=look_for_damage,
    )


def _encoded(text: str, charset: str) -> bytes | None:
    """Return the text in its charset, or None if that is impossible.

    Only simple codecs are used; a bag may name one, such as punycode, that takes a minute for a
    page.
    """
    if charset not in _PLAIN and not check_charset(charset):
        return None
    try:
        return text.encode(charset)
    except UnicodeEncodeError:
        return None
