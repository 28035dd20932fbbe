"""Name USB bridge chips, and what each system needs to talk to them.

Names are those of the public usb.ids list, version 2025.07.26 (Debian package usb.ids), word for
word; tests/published holds the table to it. Linux drivers are those of the kernel's
drivers/usb/serial and drivers/usb/class, from memory; what is said of other systems is general
knowledge.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bridge:
    """A bridge chip.

    name: as in usb.ids. driver: its module in the Linux kernel. channels: serial lines of one chip;
    with several, one USB place has several ports.
    """

    name: str
    driver: str
    channels: int = 1


BRIDGES: dict[tuple[int, int], Bridge] = {
    (0x1A86, 0x5523): Bridge("CH341 in serial mode, usb to serial port converter", "ch341"),
    (0x1A86, 0x7522): Bridge("CH340 serial converter", "ch341"),
    (0x1A86, 0x7523): Bridge("CH340 serial converter", "ch341"),
    (0x0403, 0x6001): Bridge("FT232 Serial (UART) IC", "ftdi_sio"),
    (0x0403, 0x6010): Bridge("FT2232C/D/H Dual UART/FIFO IC", "ftdi_sio", 2),
    (0x0403, 0x6011): Bridge("FT4232H Quad HS USB-UART/FIFO IC", "ftdi_sio", 4),
    (0x0403, 0x6014): Bridge("FT232H Single HS USB-UART/FIFO IC", "ftdi_sio"),
    (0x0403, 0x6015): Bridge("Bridge(I2C/SPI/UART/FIFO)", "ftdi_sio"),
    (0x10C4, 0xEA60): Bridge("CP210x UART Bridge", "cp210x"),
    (0x10C4, 0xEA70): Bridge("CP2105 Dual UART Bridge", "cp210x", 2),
    (0x067B, 0x2303): Bridge("PL2303 Serial Port / Mobile Phone Data Cable", "pl2303"),
    (0x04D8, 0x00DD): Bridge("MCP2221(a) UART/I2C Bridge", "cdc_acm"),
}


def driver_hint(vid: int | None, pid: int | None, system: str = sys.platform) -> str:
    """Return which driver a bridge needs on this system and where it comes from; "" if unknown."""
    bridge = BRIDGES.get((vid, pid)) if vid is not None and pid is not None else None
    if bridge is None:
        return ""
    if system.startswith("linux"):
        return f"{bridge.driver}, part of the Linux kernel"
    if bridge.driver == "cdc_acm":
        return "the system's own (USB communications device class)"
    if system == "darwin":
        return "the system's own since macOS 11, else the chip maker's; install only one of them"
    if system == "win32":
        return "the chip maker's, usually fetched by the system when it is first plugged in"
    return ""
