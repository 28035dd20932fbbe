"""Frames of the serial bootloader protocol.

Source: Atmel application note AVR061, Rev. 2525B, 04/03, and its command.h v1.0. Every frame ends
with the end-of-packet byte; a good answer is INSYNC, what was asked for, OK. Flash is addressed
by 16-bit words, low byte first (word address also in AVR068).
"""

from __future__ import annotations

OK, FAILED, UNKNOWN, NO_DEVICE, INSYNC, NOSYNC, END = 0x10, 0x11, 0x12, 0x13, 0x14, 0x15, 0x20
FLASH, EEPROM = b"F", b"E"


def get_sync() -> bytes:
    """Return the command that asks the bootloader for a sign of life."""
    return bytes((0x30, END))


def enter_programming() -> bytes:
    """Return the command that puts the chip into programming mode."""
    return bytes((0x50, END))


def leave_programming() -> bytes:
    """Return the command that ends programming mode."""
    return bytes((0x51, END))


def read_signature() -> bytes:
    """Return the command that asks for the three signature bytes of the chip."""
    return bytes((0x75, END))


def load_address(address: int) -> bytes:
    """Return the command that sets a 16-bit address, for flash in words. Raises ValueError."""
    if not 0 <= address <= 0xFFFF:
        raise ValueError(f"address {address}")
    return bytes((0x55, address & 0xFF, address >> 8, END))


def program_page(data: bytes) -> bytes:
    """Return the command that writes `data` to flash at the loaded address."""
    return bytes((0x64, len(data) >> 8, len(data) & 0xFF)) + FLASH + data + bytes((END,))


def read_page(size: int, memory: bytes = FLASH) -> bytes:
    """Return the command that asks for `size` bytes from the loaded address."""
    return bytes((0x74, size >> 8, size & 0xFF)) + memory + bytes((END,))
