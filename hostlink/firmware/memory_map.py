"""A map of flash as text, one character for each page, readable in monochrome and any font."""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Segment

PAGES_A_ROW = 32
VECTORS, PROGRAM, FREE, BOOT, CLASH = "v", "p", ".", "B", "!"
LEGEND = (
    f"{VECTORS} vector table  {PROGRAM} program  {FREE} blank  {BOOT} bootloader  "
    f"{CLASH} image in the bootloader's section"
)


def memory_map(segments: Sequence[Segment], chip: Chip, boot_bytes: int) -> list[str]:
    """Return rows of `address  characters`, one character for each page of the chip's flash."""
    boot = chip.application_end(boot_bytes) // chip.page_bytes
    used = pages_of(segments, chip)
    signs = [_sign(page, page in used, boot) for page in range(chip.pages)]
    return [
        f"{row * chip.page_bytes:04X}  {''.join(signs[row : row + PAGES_A_ROW])}"
        for row in range(0, chip.pages, PAGES_A_ROW)
    ]


def pages_of(segments: Sequence[Segment], chip: Chip) -> set[int]:
    """Return the numbers of the pages of flash in which an image has bytes."""
    return {
        page
        for start, stop in segments
        for page in range(
            min(start // chip.page_bytes, chip.pages),
            min(-(-stop // chip.page_bytes), chip.pages),
        )
    }


def segment_rows(segments: Sequence[Segment]) -> list[tuple[str, str, int]]:
    """Return (first address, last address, bytes) of each segment."""
    return [(f"{start:04X}", f"{stop - 1:04X}", stop - start) for start, stop in segments]


def _sign(page: int, used: bool, boot: int) -> str:
    if page >= boot:
        return CLASH if used else BOOT
    if not used:
        return FREE
    return VECTORS if page == 0 else PROGRAM
