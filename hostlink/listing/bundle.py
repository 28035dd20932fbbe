"""Several listings in one zip file, in memory: read with distrust, written always the same.

A zip file may lie about sizes, name places outside a folder, hold the same name twice or unpack to
more than a disk holds. Nothing here touches the disk, a member is never unpacked further than a
listing may be long, and names are only names.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass

from hostlink.errors import ListingError
from hostlink.listing.source import LIMIT

MOST_MEMBERS = 10_000
MOST_BYTES = 16 * LIMIT
"""Bytes of all members unpacked, 16 MiB."""

_KEPT = "Nothing was changed."
_ENTRY = b"PK\x01\x02"  # begins each entry of the directory (PKWARE APPNOTE 4.3.12)
# Other methods unpack more than they are asked for: 1,202 bytes of BZIP2 or LZMA took 3 GB.
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAY_ONE = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can hold: writing is repeatable


@dataclass(frozen=True, slots=True)
class Member:
    """One file of a zip. name: without its folder. data: its bytes."""

    name: str
    data: bytes


def is_zip(data: bytes) -> bool:
    """Whether bytes begin like a zip file."""
    return data.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def read_zip(data: bytes, *, name: str) -> list[Member]:
    """The files of a zip in their order, folders and hidden files left out.

    name: what to call it in messages. Raises ListingError, and gives nothing, where it is no sound
    zip, is encrypted, names a place outside itself, a name comes twice, or it unpacks to too much.
    """
    if data.count(_ENTRY) > 2 * MOST_MEMBERS:  # all of them would become objects at once
        raise _refused(name, f"it holds more than {MOST_MEMBERS:,} files")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as opened:
            return _members(opened, name)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as error:
        raise _refused(name, f"it is damaged or of a kind that is not read ({error})") from error
    except (ValueError, RuntimeError, OverflowError) as error:
        raise _refused(name, f"it cannot be read ({error})") from error


def write_zip(members: Iterable[Member]) -> bytes:
    """Files as a zip; the same files always give the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as opened:
        for member in members:
            info = zipfile.ZipInfo(member.name, _DAY_ONE)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            opened.writestr(info, member.data)
    return out.getvalue()


def _members(opened: zipfile.ZipFile, name: str) -> list[Member]:
    infos = opened.infolist()
    if len(infos) > MOST_MEMBERS:
        raise _refused(name, f"it holds {len(infos):,} files, more than {MOST_MEMBERS:,}")
    found: list[Member] = []
    seen: set[str] = set()
    left = MOST_BYTES
    for info in infos:
        base = _base_name(info.filename, name)
        if info.is_dir() or base.startswith("."):
            continue
        if info.flag_bits & 1:
            raise _refused(name, f"{_shown(base)} in it is encrypted")
        if info.compress_type not in _METHODS:
            raise _refused(name, f"{_shown(base)} in it is packed in a way that is not read here")
        if base.lower() in seen:
            raise _refused(name, f"the name {_shown(base)} comes twice")
        seen.add(base.lower())
        with opened.open(info) as member:
            data = member.read(min(LIMIT, left) + 1)
        left -= len(data)
        if len(data) > LIMIT or left < 0:
            raise _refused(name, f"{_shown(base)} in it unpacks to more than listings may take")
        found.append(Member(base, data))
    return found


def _base_name(path: str, name: str) -> str:
    """The last part of a member's path. A path that leads elsewhere is refused as a whole."""
    parts = path.replace("\\", "/").split("/")
    if parts[0] == "" or ".." in parts or ":" in parts[0] or "\0" in path:
        raise _refused(name, f"it names a place outside itself, {_shown(path)}")
    return parts[-1] or parts[-2 if len(parts) > 1 else -1]


def _shown(path: str) -> str:
    return "".join(char if char.isprintable() else "?" for char in path[:60])


def _refused(name: str, why: str) -> ListingError:
    return ListingError(
        f"The zip file {name} is refused: {why}.",
        kept=_KEPT,
        advice="Unpack it with care, and name the listings or their folder.",
    )
