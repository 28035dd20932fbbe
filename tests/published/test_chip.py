"""The ATmega328P's sizes and signature against its data sheets.

Sources (read): 8271H, 8271E, 7810C: signature 1E 95 0F (ATmega328 1E 95 14, ATmega328PB 1E 95 16),
flash 32 KiB, page 128 bytes, EEPROM 1 KiB; boot section sizes in 7810C table 26-7. The 26 vectors
of two words: 8271H table 11-6 (from memory).
"""

from __future__ import annotations

import pytest

from hostlink.firmware.chip import (
    ATMEGA328P,
    CHIPS,
    DEFAULT_BOOT_BYTES,
    chip_named,
    part_of,
)
from hostlink.practice import bootloader as board
from hostlink.practice.settings import BoardSettings

BOOT_SECTIONS = {256: 0x7E00, 512: 0x7C00, 1024: 0x7800, 2048: 0x7000}  # words: start byte


def test_the_chip_has_the_sizes_of_its_data_sheet() -> None:
    """Flash, page, EEPROM and vectors; the practice board has the same chip."""
    assert (ATMEGA328P.flash_bytes, ATMEGA328P.page_bytes) == (32 * 1024, 128)
    assert (ATMEGA328P.eeprom_bytes, ATMEGA328P.vectors, ATMEGA328P.pages) == (1024, 26, 256)
    assert (board.FLASH_BYTES, board.PAGE_BYTES) == (32 * 1024, 128)
    assert BoardSettings().eeprom_bytes == 1024


@pytest.mark.parametrize(("words", "start"), BOOT_SECTIONS.items())
def test_each_boot_section_begins_where_the_data_sheet_says(words: int, start: int) -> None:
    """Each size begins where the table says, which is the application's limit."""
    assert words * 2 in ATMEGA328P.boot_sizes
    assert ATMEGA328P.application_end(words * 2) == start


def test_the_boot_section_that_is_assumed_is_one_that_the_chip_can_have() -> None:
    """1,024 words, from 7800 on: where nobody says how large the bootloader is."""
    assert ATMEGA328P.application_end(DEFAULT_BOOT_BYTES) == BOOT_SECTIONS[1024]


@pytest.mark.parametrize(
    ("part", "signature"),
    [("ATmega328P", "1e 95 0f"), ("ATmega328", "1e 95 14"), ("ATmega328PB", "1e 95 16")],
)
def test_a_signature_names_its_part(part: str, signature: str) -> None:
    """A signature names its part, and a part has its signature."""
    chip = chip_named(part.lower())
    assert chip is not None
    assert chip.signature == bytes.fromhex(signature)
    assert part_of(bytes.fromhex(signature)) == part


def test_an_unknown_signature_is_shown_as_it_is() -> None:
    """Where the part is not known the three bytes are said."""
    assert part_of(b"\x1e\x94\x06") == "one of signature 1E 94 06"
    assert len({chip.signature for chip in CHIPS}) == len(CHIPS)
    assert BoardSettings().signature.to_bytes(3, "big") == ATMEGA328P.signature


def test_a_page_of_flash_takes_as_long_as_the_data_sheet_says() -> None:
    """Writing a page of flash takes at most 4.5 ms (DS40002061A, from memory of its table)."""
    assert BoardSettings().page_ms == 4.5
