"""Which board is at a port: by its USB ids, its serial number or the socket it is plugged into.

A port's name says nothing: it changes with every replug. CH340-type bridges have no serial number,
and some makers give every chip the same one; such boards are told apart only by the socket they
are plugged into. That is said, not hidden.
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


class PortInfo(Protocol):
    """What pyserial tells of a port (serial.tools.list_ports_common.ListPortInfo)."""

    device: str
    description: str | None
    vid: int | None
    pid: int | None
    serial_number: str | None
    location: str | None


@dataclass(frozen=True, slots=True)
class Identity:
    """What a board can be recognised by. port: today's name. chip: its bridge, in words.

    serial: the bridge's serial number, "" where it has none or shares it with another one here
    (shared_serial holds it then). also: further names of the same port (macOS may show two).
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
        """Whether the board itself is recognised, and not only the place it is plugged into."""
        return bool(self.serial)


def usb_ports() -> list[Identity]:
    """The ports with a USB bridge, by name. Others (phantom ports without ids) are left out."""
    return [identity for identity in here() if identity.vid is not None]


def other_ports() -> list[Identity]:
    """The ports without USB ids, most of which have nothing behind them."""
    return [identity for identity in here() if identity.vid is None]


def here() -> list[Identity]:
    """Every port of this computer, one entry a board, as honest about serial numbers as can be."""
    return _without_shared_serials(_one_a_board([_identity(info) for info in _comports()]))


def identity_of(port: str) -> Identity:
    """What is known of the board at a port or address."""
    if port.startswith("practice:"):
        name = port.partition("://")[2].partition("?")[0].strip("/") or "desk"
        return Identity(port, serial=f"practice:{name}", chip="practice board")
    if "://" in port:
        return Identity(port, location=port, chip="network port")
    # A link to a device, such as those by id, is that device. Windows has no such links, and looks
    # a name up by opening it.
    device = os.path.realpath(port) if os.name == "posix" else port
    for identity in here():
        if {port, device} & {identity.port, *identity.also}:
            return dataclasses.replace(identity, port=port)
    return Identity(port, location=port)


def same_board(one: Identity, other: Identity) -> bool:
    """Whether two sightings are of one board, as far as can be told."""
    if (one.vid, one.pid) != (other.vid, other.pid):
        return False
    if one.serial or other.serial:
        return one.serial == other.serial
    return one.location == other.location


def port_of(identity: Identity) -> str | None:
    """Where a board that vanished is now, or None while it is not here."""
    if "://" in identity.port or identity.vid is None:
        return identity.port
    return next((each.port for each in here() if same_board(each, identity)), None)


def hidden_bridges(sysfs: Path = Path("/sys/bus/usb/devices")) -> list[tuple[str, int, int]]:
    """Known bridges that are plugged in but have no port: their USB place, vid and pid.

    Looked up in Linux's sysfs; empty elsewhere. The driver is missing, or something took the chip.
    """
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


def _comports() -> Iterable[PortInfo]:
    from serial.tools.list_ports import comports  # slow to load, and not needed for practice

    return sorted(comports(), key=lambda info: str(info.device))


def _identity(info: PortInfo) -> Identity:
    chip = ""
    serial, location = info.serial_number or "", info.location or str(info.device)
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


def _one_a_board(found: Sequence[Identity], system: str = sys.platform) -> list[Identity]:
    """macOS with two drivers installed shows two ports for one bridge: make them one entry."""
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
    """A serial number that two bridges here have tells neither apart: it is set aside."""
    bridges = {(each.vid, each.pid, each.serial, _socket(each)) for each in found if each.serial}
    times = Counter(key[:3] for key in bridges)
    return [
        dataclasses.replace(each, serial="", shared_serial=each.serial)
        if times[each.vid, each.pid, each.serial] > 1
        else each
        for each in found
    ]


def _socket(identity: Identity) -> str:
    """The place of the chip, without the interface that a channel of it has ("1-2:1.0")."""
    return identity.location.partition(":")[0]
