"""Checksums that show damage to stored rows and stored bytes."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

from hostlink.archive.database.tables import Table


def checksum(table: Table, values: Iterable[Any]) -> int:
    """Compute the checksum of a row from the values of `table.summed`, in that order.

    CRC-32 (RFC 1952, section 8) over the table's name and each value, joined by a byte 1F. A value
    is a letter for its type and then text in UTF-8 (t), a number in decimal (i), bytes (b), or
    nothing for NULL (n).
    """
    row = tuple(values)
    types = tuple(map(type, row))
    if bytes in types:
        # A byte that is not UTF-8 becomes a surrogate, which turns back into that byte below.
        row = tuple(
            each.decode("utf-8", "surrogateescape") if isinstance(each, bytes) else each
            for each in row
        )
    return zlib.crc32((_form(table.name, types) % row).encode("utf-8", "surrogateescape"))


# Only damage puts a float into a row.
_FORMS = {str: "t%s", int: "i%d", bytes: "b%s", type(None): "n%.0s", float: "f%r"}


# Filling in a form takes a third of the time of joining the values one by one.
@lru_cache(maxsize=512)
def _form(table: str, types: tuple[type, ...]) -> str:
    return "\x1f".join([table, *[_FORMS[each] for each in types]])


def is_whole(table: Table, row: Mapping[str, Any]) -> bool:
    """Return whether a row has every column, and its stored checksum matches them."""
    names = (*table.summed, "checksum")
    if any(name not in row for name in names):  # the schema is damaged
        return False
    return bool(row["checksum"] == checksum(table, [row[name] for name in table.summed]))


def is_sound(data: object, sha256: object) -> bool:
    """Return whether `data` is bytes with this SHA-256 digest (32 bytes)."""
    return isinstance(data, bytes) and hashlib.sha256(data).digest() == sha256
