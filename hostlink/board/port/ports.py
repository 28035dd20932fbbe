"""Recognise which board is at a port by USB ids, serial number or USB socket.

The name of a port changes with every replug. CH340-type bridges have no serial number, and some
makers give every chip the same one. Such boards are told apart by their socket only, and the user
is told so.
"""

from __future__ import annotations

import dataclasses
import os
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from hostlink.board.port.bridges import BRIDGES
from hostlink.words import natural

_SHORTEST_SERIAL = 3  # characters; a made-up number of Windows begins with one or two digits


class PortInfo(Protocol):
    """The fields of a port that pyserial reports (serial.tools.list_ports_common.ListPortInfo)."""

    device: str
    description: str | None
    vid: int | None
    pid: int | None
    serial_number: str | None
    location: str | None


@dataclass(frozen=True, slots=True)
class Identity:
    """What a board can be recognised by.

    port: its current name. chip: a description of its bridge. serial: the serial number of the
    bridge, "" if it has none or another bridge here has the same (then in shared_serial). also:
    other names of the same port (macOS may show two).
    """

    port: str
    vid: int | None = None
    pid: int | None = None
    serial: str = ""
    location: str = ""
    chip: str = ""
    shared_serial: str = ""
    also: tuple[str, ...] = ()

    @property
    def is_certain(self) -> bool:
        """Return whether the board itself is recognised, not only its socket."""
        return bool(self.serial)


def usb_ports() -> list[Identity]:
    """Return the ports with a USB bridge, by name. Phantom ports without ids are left out."""
    return [identity for identity in boards_here() if identity.vid is not None]


def other_ports() -> list[Identity]:
    """Return the ports without USB ids; most of them have no device."""
    return [identity for identity in boards_here() if identity.vid is None]


def boards_here() -> list[Identity]:
    """Return the identity of each serial port of this computer, without macOS's duplicates."""
    return _without_shared_serials(_one_a_board([_identity(info) for info in _comports()]))


def identity_of(port: str) -> Identity:
    """Return the identity of the board at a port or address, as far as it is known."""
    if port.startswith("practice:"):
        name = port.partition("://")[2].partition("?")[0].strip("/") or "desk"
        return Identity(port, serial=f"practice:{name}", chip="practice board")
    if "://" in port:
        return Identity(port, location=port, chip="network port")
    names = _names_of(port)
    for identity in boards_here():
        if any(names & _names_of(each) for each in (identity.port, *identity.also)):
            return dataclasses.replace(identity, port=port)
    return Identity(port, location=port)


def _names_of(port: str, system: str = sys.platform) -> set[str]:
    """Return the names under which a system knows a port.

    On Windows case does not count, and `\\\\.\\COM12` is COM12; a link cannot be followed there,
    since a name is looked up by opening it. macOS has each port twice: pyserial lists
    `/dev/cu.NAME`, people also type `/dev/tty.NAME`.
    """
    if system == "win32":
        return {port.upper().removeprefix("\\\\.\\")}
    names = {port, os.path.realpath(port)}
    if system == "darwin":
        names |= {each.replace("/dev/tty.", "/dev/cu.") for each in names}
    return names


def same_board(one: Identity, other: Identity) -> bool:
    """Return whether two identities are of one board, as far as is known."""
    if (one.vid, one.pid) != (other.vid, other.pid):
        return False
    if one.serial or other.serial:
        return one.serial == other.serial
    return one.location == other.location


def port_of(identity: Identity) -> str | None:
    """Return the port at which a board is now, or None; without USB ids, the port it had."""
    if "://" in identity.port or identity.vid is None:
        return identity.port
    return next((each.port for each in boards_here() if same_board(each, identity)), None)


def hidden_bridges(
    sysfs: Path = Path("/sys/bus/usb/devices"), system: str = sys.platform
) -> list[tuple[str, int, int]]:
    """Return known bridges that are plugged in without a port: USB place or "", vid and pid.

    The driver is missing or another one took the chip. On Linux, files show this (sysfs). Windows
    takes a second or more to answer, and its ports tell no place to compare, so it is asked only if
    no bridge has a port.
    """
    if system == "win32" and usb_ports():
        return []
    if not system.startswith("linux"):
        from hostlink.board.port.plugged import plugged_in

        ports = {(each.vid, each.pid, each.location) for each in usb_ports()}
        return [each for each in plugged_in(system) if _lacks_port(each, ports)]
    found = []
    for ids in sorted(sysfs.glob("*/idVendor")):
        device = ids.parent
        try:
            vid = int(ids.read_text(encoding="ascii"), 16)
            pid = int((device / "idProduct").read_text(encoding="ascii"), 16)
        except (OSError, ValueError):
            continue
        has_port = any(device.glob("*/tty*/")) or any(device.glob("*/tty/tty*/"))
        if (vid, pid) in BRIDGES and not has_port:
            found.append((device.name, vid, pid))
    return found


def _lacks_port(
    device: tuple[str, int, int], ports: set[tuple[int | None, int | None, str]]
) -> bool:
    """Return whether a device is a known bridge that has none of the ports (vid, pid, place)."""
    place, vid, pid = device
    return (vid, pid) in BRIDGES and (vid, pid, place) not in ports


def _comports() -> Iterable[PortInfo]:
    from serial.tools.list_ports import comports  # slow to load, and not needed for practice

    return sorted(comports(), key=lambda info: natural(str(info.device)))


def _identity(info: PortInfo) -> Identity:
    chip = ""
    serial, location = _serial_number(info), info.location or str(info.device)
    if info.vid is not None and info.pid is not None:
        bridge = BRIDGES.get((info.vid, info.pid))
        chip = bridge.name if bridge else (info.description or "unknown bridge")
        if serial and bridge is not None and bridge.channels > 1:
            serial += location[location.find(":") :] if ":" in location else f" {info.device}"
    return Identity(
        port=str(info.device),
        vid=info.vid,
        pid=info.pid,
        serial=serial,
        location=location,
        chip=chip,
    )


def _serial_number(info: PortInfo, system: str = sys.platform) -> str:
    """Return the serial number of a bridge, "" if it has none.

    Windows makes up a number for a chip without one, from the socket it is in: `6&1A2B3C&0&2`.
    pyserial may give that, or only its first digit, as the serial number (list_ports_windows).
    """
    serial = info.serial_number or ""
    if system == "win32" and ("&" in serial or len(serial) < _SHORTEST_SERIAL):
        return ""
    return serial


def _one_a_board(found: Sequence[Identity], system: str = sys.platform) -> list[Identity]:
    """Merge the two ports that macOS shows for one bridge if two drivers are installed."""
    if system != "darwin":
        return list(found)
    boards: dict[object, Identity] = {}
    for each in found:
        bridge = BRIDGES.get((each.vid, each.pid)) if each.vid and each.pid else None
        one = each.vid is not None and (bridge is None or bridge.channels == 1)
        key = (each.vid, each.pid, each.serial, each.location) if one else each.port
        first = boards.setdefault(key, each)
        if first is not each:
            boards[key] = dataclasses.replace(first, also=(*first.also, each.port))
    return list(boards.values())


def _without_shared_serials(found: Sequence[Identity]) -> list[Identity]:
    """Clear the serial numbers that two bridges share, because they identify neither."""
    bridges = {(each.vid, each.pid, each.serial, _socket(each)) for each in found if each.serial}
    times = Counter(key[:3] for key in bridges)
    return [
        dataclasses.replace(each, serial="", shared_serial=each.serial)
        if times[each.vid, each.pid, each.serial] > 1
        else each
        for each in found
    ]


def _socket(identity: Identity) -> str:
    """Return the place of the chip, without the interface that a channel of it has ("1-2:1.0")."""
    return identity.location.partition(":")[0]
