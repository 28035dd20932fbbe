"""Which board is at a port: by its USB ids, its serial number or the socket it is plugged into.

A port's name says nothing: it changes with every replug. CH340-type bridges have no serial number,
so two of them are told apart only by location; that is said, not hidden.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

# From the public usb.ids file, version 2025.07.26 (Debian package usb.ids).
BRIDGE_CHIPS = {
    (0x1A86, 0x7523): "CH340 serial converter",
    (0x0403, 0x6001): "FT232 Serial (UART) IC",
    (0x0403, 0x6015): "Bridge(I2C/SPI/UART/FIFO)",
    (0x10C4, 0xEA60): "CP210x UART Bridge",
    (0x067B, 0x2303): "PL2303 Serial Port",
    (0x04D8, 0x00DD): "MCP2221(a) UART/I2C Bridge",
}


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
    """What a board can be recognised by. port: today's name. chip: its bridge, in words."""

    port: str
    vid: int | None = None
    pid: int | None = None
    serial: str = ""
    location: str = ""
    chip: str = ""

    @property
    def is_certain(self) -> bool:
        """Whether the board itself is recognised, and not only the place it is plugged into."""
        return bool(self.serial)


def usb_ports() -> list[Identity]:
    """The ports with a USB bridge, by name. Others (phantom ports without ids) are left out."""
    return [identity for identity in map(_identity, _comports()) if identity.vid is not None]


def other_ports() -> list[Identity]:
    """The ports without USB ids, most of which have nothing behind them."""
    return [identity for identity in map(_identity, _comports()) if identity.vid is None]


def identity_of(port: str) -> Identity:
    """What is known of the board at a port or address."""
    if port.startswith("practice:"):
        name = port.partition("://")[2].partition("?")[0].strip("/") or "desk"
        return Identity(port, serial=f"practice:{name}", chip="practice board")
    if "://" in port:
        return Identity(port, location=port, chip="network port")
    for identity in map(_identity, _comports()):
        if identity.port == port:
            return identity
    return Identity(port, location=port)


def _comports() -> Iterable[PortInfo]:
    from serial.tools.list_ports import comports  # slow to load, and not needed for practice

    return sorted(comports(), key=lambda info: str(info.device))


def _identity(info: PortInfo) -> Identity:
    chip = ""
    if info.vid is not None and info.pid is not None:
        chip = BRIDGE_CHIPS.get((info.vid, info.pid), info.description or "unknown bridge")
    return Identity(
        port=str(info.device),
        vid=info.vid,
        pid=info.pid,
        serial=info.serial_number or "",
        location=info.location or str(info.device),
        chip=chip,
    )
