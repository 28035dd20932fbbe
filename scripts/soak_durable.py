"""What of an archive would be left after a kill or a power cut, seen from outside hostlink.

Two witnesses, both asked at the moment at which something is acknowledged. A second connection sees
what was committed, and nothing else. `Syncs` stands between SQLite and the system as a VFS of its
own (https://www.sqlite.org/vfs.html) that passes everything on to the usual one and notes which
files hold bytes that were written and not yet synced: those a power cut may take.
"""

from __future__ import annotations

import _sqlite3
import ctypes
import functools
from collections.abc import Callable
from ctypes import CFUNCTYPE, POINTER, Structure, c_char_p, c_int, c_int64, c_void_p
from typing import Any

# The first members of these structures, as sqlite3.h (3.37 to 3.50) declares them. Members that are
# not looked at stand as plain pointers; a copy carries them along.
_WRITE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
_TRUNCATE = CFUNCTYPE(c_int, c_void_p, c_int64)
_SYNC = CFUNCTYPE(c_int, c_void_p, c_int)
_CLOSE = CFUNCTYPE(c_int, c_void_p)
_OPEN = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, c_void_p)
_NAME = b"hostlink-soak"


class _Methods(Structure):
    """sqlite3_io_methods, version 3."""

    _fields_ = (
        ("version", c_int),
        ("close", _CLOSE),
        ("read", c_void_p),
        ("write", _WRITE),
        ("truncate", _TRUNCATE),
        ("sync", _SYNC),
        ("others", c_void_p * 13),
    )


class _File(Structure):
    """sqlite3_file."""

    _fields_ = (("methods", POINTER(_Methods)),)


class _Vfs(Structure):
    """sqlite3_vfs, version 3."""

    _fields_ = (
        ("version", c_int),
        ("file_bytes", c_int),
        ("longest_path", c_int),
        ("next", c_void_p),
        ("name", c_char_p),
        ("app_data", c_void_p),
        ("open", _OPEN),
        ("others", c_void_p * 15),
    )


class Syncs:
    """Watches every database that is opened from now on. unsynced: files with bytes at risk."""

    def __init__(self) -> None:
        """Raise OSError or AttributeError where this Python's SQLite cannot be reached."""
        self._names: dict[int, str] = {}
        self._at_risk: set[str] = set()
        self._watched: dict[int, tuple[Any, _Methods]] = {}  # by the usual methods' address
        library = ctypes.CDLL(_sqlite3.__file__)
        library.sqlite3_vfs_find.restype = POINTER(_Vfs)
        usual = library.sqlite3_vfs_find(None)
        self._open = usual.contents.open
        self._vfs = _Vfs.from_buffer_copy(usual.contents)
        self._vfs.name = _NAME
        self._vfs.open = _OPEN(self._opened)
        self._library = library
        library.sqlite3_vfs_register(ctypes.byref(self._vfs), 1)

    def unsynced(self, path: object) -> list[str]:
        """The files of the database at a path that hold bytes a power cut may take."""
        return sorted(name for name in self._at_risk if name.startswith(str(path)))

    def stop(self) -> None:
        """Let databases that are opened from now on alone."""
        self._library.sqlite3_vfs_unregister(ctypes.byref(self._vfs))

    def _opened(self, vfs: int, name: int | None, file: int, flags: int, out: int) -> int:
        # The very pointer is passed on: SQLite keeps it, and finds its parameters after the name.
        status: int = self._open(vfs, name, file, flags, out)
        held = ctypes.cast(file, POINTER(_File)).contents
        if not status and name and held.methods:
            self._names[file] = ctypes.string_at(name).decode()
            held.methods = ctypes.pointer(self._methods_for(held.methods))
        return status

    def _methods_for(self, usual: Any) -> _Methods:
        """The methods of a file with three of them watched; made once for each kind of file."""
        address = ctypes.addressof(usual.contents)
        if address not in self._watched:
            methods = _Methods.from_buffer_copy(usual.contents)
            methods.write = _WRITE(self._noting(usual.contents.write, self._at_risk.add))
            methods.truncate = _TRUNCATE(self._noting(usual.contents.truncate, self._at_risk.add))
            methods.sync = _SYNC(self._noting(usual.contents.sync, self._at_risk.discard))
            self._watched[address] = usual, methods
        return self._watched[address][1]

    def _noting(self, call: Callable[..., int], note: Callable[[str], None]) -> Callable[..., int]:
        """A method that notes the file it was called for."""

        def noting(file: int, *rest: Any) -> int:
            note(self._names[file])
            return call(file, *rest)

        return noting


@functools.cache
def watched_syncs() -> Syncs | None:
    """The one watcher of this process; None where this Python's SQLite cannot be reached."""
    try:
        return Syncs()
    except (AttributeError, OSError):
        return None
