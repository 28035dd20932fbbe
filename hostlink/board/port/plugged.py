"""Ask Windows and macOS which USB devices are plugged in, whether they have a port or not.

On Linux, files show this (see hostlink.board.port.ports). The two commands come with the systems:

- Windows: Win32_PnPEntity of CIM lists the devices that are present. DeviceID is
  `USB\\VID_1A86&PID_7523\\5&2A1B3C4D&0&2`; with `&MI_00` it is one function of a device.
- macOS: `ioreg -a -p IOUSB -l` prints the tree of USB devices as a property list. Each has
  idVendor, idProduct and locationID, a number that encodes the sockets on the way to it.

Both from the systems' documentation and from memory, not run here.
"""

from __future__ import annotations

import contextlib
import re
import sys
from collections.abc import Iterator, Sequence
from typing import Any

_DEVICE = re.compile(r"^USB\\VID_([0-9A-F]{4})&PID_([0-9A-F]{4})\\", re.MULTILINE | re.IGNORECASE)
_WINDOWS = (
    *("powershell", "-NoProfile", "-NonInteractive", "-Command"),
    "(Get-CimInstance Win32_PnPEntity).DeviceID",
)
_MACOS = ("ioreg", "-a", "-p", "IOUSB", "-l")
_LONGEST_S = 20.0  # for an answer; the first PowerShell of a day takes seconds


def plugged_in(system: str = sys.platform) -> list[tuple[str, int, int]]:
    """Return the USB devices that are plugged in: place, vendor, product.

    The place is written as pyserial does ("20-1.4"), "" if it is not known. The list is empty if
    the system does not answer, and on other systems.
    """
    if system == "win32":
        ids = _DEVICE.findall(_answer(_WINDOWS).decode("ascii", "replace"))
        return [("", int(vendor, 16), int(product, 16)) for vendor, product in ids]
    if system == "darwin":
        import plistlib
        from xml.parsers.expat import ExpatError

        with contextlib.suppress(ExpatError, ValueError, plistlib.InvalidFileException):
            return list(_devices(plistlib.loads(_answer(_MACOS))))
    return []


def _devices(entry: Any) -> Iterator[tuple[str, int, int]]:
    """Yield the devices of an entry of the registry and of those below it."""
    if isinstance(entry, list):
        for each in entry:
            yield from _devices(each)
    if not isinstance(entry, dict):
        return
    location, vendor, product = (entry.get(key) for key in ("locationID", "idVendor", "idProduct"))
    if isinstance(location, int) and isinstance(vendor, int) and isinstance(product, int):
        yield place_of(location), vendor, product
    yield from _devices(entry.get("IORegistryEntryChildren"))


def place_of(location: int) -> str:
    """Return a locationID of macOS as pyserial writes it (list_ports_osx.location_to_string).

    The first byte is the bus, each following half byte the socket of a hub, until one is 0.
    """
    sockets = []
    for shift in range(20, -4, -4):
        if not (socket := location >> shift & 0xF):
            break
        sockets.append(str(socket))
    return f"{location >> 24}-{'.'.join(sockets)}"


def _answer(command: Sequence[str]) -> bytes:
    """Run a command of the system and return what it prints, b"" if it fails."""
    import subprocess

    try:
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, timeout=_LONGEST_S, check=False
        )
    except (OSError, subprocess.SubprocessError):
        return b""
    return done.stdout
