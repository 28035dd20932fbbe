"""Read and write several listings in one zip file, in memory.

A zip file may state wrong sizes, name paths outside its folder, repeat a name or unpack to more
than a disk holds. So nothing is written to disk, no member is unpacked beyond the size limit of a
listing, and folders in names are dropped. Writing is reproducible.
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
"""Largest size of all members unpacked, in bytes: 16 MiB."""

_KEPT = "Nothing was changed."
_ENTRY = b"PK\x01\x02"  # begins each entry of the directory (PKWARE APPNOTE 4.3.12)
# Other methods unpack more than requested: 1,202 bytes of BZIP2 or LZMA took 3 GB.
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAY_ONE = (1980, 1, 1, 0, 0, 0)  # the earliest date in a zip file, for reproducible writing


@dataclass(frozen=True, slots=True)
class Member:
    """One file of a zip file. name: without its folder. data: its bytes."""

    name: str
    data: bytes


def is_zip(data: bytes) -> bool:
    """Return whether bytes begin like a zip file."""
    return data.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def read_zip(data: bytes, *, name: str) -> list[Member]:
    """Return the files of a zip file in order, without folders and hidden files.

    name: the file's name in messages. Raises ListingError if the zip file is damaged or encrypted,
    names a path outside itself, repeats a name, or unpacks to more than is permitted.
    """
    if data.count(_ENTRY) > 2 * MOST_MEMBERS:  # each entry would become an object
        raise _refused(name, f"it holds more than {MOST_MEMBERS:,} files")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as opened:
            return _members(opened, name)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as error:
        raise _refused(name, f"it is damaged or of a kind that is not read ({error})") from error
    except (ValueError, RuntimeError, OverflowError) as error:
        raise _refused(name, f"it cannot be read ({error})") from error


def write_zip(members: Iterable[Member]) -> bytes:
    """Return files as a zip file; the same files always give the same bytes."""
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
            raise _refused(name, f"{_shown(base)} in it is packed in a way unknown to hostlink")
        if base.lower() in seen:
            raise _refused(name, f"the name {_shown(base)} occurs twice")
        seen.add(base.lower())
        with opened.open(info) as member:
            data = member.read(min(LIMIT, left) + 1)
        left -= len(data)
        if len(data) > LIMIT or left < 0:
            raise _refused(name, f"{_shown(base)} in it unpacks to more than listings may take")
        found.append(Member(base, data))
    return found


def _base_name(path: str, name: str) -> str:
    """Return the last part of a member's path. Raises ListingError for a path outside the zip."""
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
        advice="Unpack it carefully, and name the listings or their folder.",
    )
