"""The microcontrollers whose firmware can be written.

Source: ATmega328P data sheets 8271H and 7810C (signature, flash, page, EEPROM; boot section sizes
in table 26-7); signatures of its relatives from their own sheets.
"""

from __future__ import annotations

from dataclasses import dataclass

BLANK = 0xFF


@dataclass(frozen=True, slots=True)
class Chip:
    """One microcontroller by its part number; all sizes in bytes.

    vectors: interrupt vectors, of 4 bytes each, at the start of flash. boot_sizes: possible
    sizes of the bootloader section at the top of flash.
    """

    part: str
    signature: bytes
    flash_bytes: int = 32_768
    page_bytes: int = 128
    eeprom_bytes: int = 1024
    vectors: int = 26
    boot_sizes: tuple[int, ...] = (512, 1024, 2048, 4096)

    @property
    def pages(self) -> int:
        """Return the number of pages of flash."""
        return self.flash_bytes // self.page_bytes

    @property
    def doubtful_from(self) -> int:
        """Return the address where a bootloader of the largest size would begin."""
        return self.flash_bytes - max(self.boot_sizes)

    def application_end(self, boot_bytes: int) -> int:
        """Return the address of the first byte of the bootloader section."""
        return self.flash_bytes - boot_bytes


ATMEGA328P = Chip("ATmega328P", b"\x1e\x95\x0f")
CHIPS = (
    ATMEGA328P,
    Chip("ATmega328", b"\x1e\x95\x14"),
    Chip("ATmega328PB", b"\x1e\x95\x16", vectors=45),
)
DEFAULT_BOOT_BYTES = 2048


def chip_named(part: str) -> Chip | None:
    """Return the chip with a part number, None if it is unknown."""
    return next((chip for chip in CHIPS if chip.part.casefold() == part.casefold()), None)


def part_of(signature: bytes) -> str:
    """Return the part number for a signature, or the signature itself if unknown."""
    for chip in CHIPS:
        if chip.signature == signature:
            return chip.part
    return f"one of signature {signature.hex(' ').upper()}"
