"""A map of flash as tracks of 32 pages, one character for each page."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Segment
from hostlink.words import BEYOND, HERE, LIMIT, SENT, UNUSED, USED, plural

_PAGES_A_TRACK = 32
MAP_LEGEND = f"{SENT} image  {UNUSED} blank  {LIMIT} the bootloader begins  {BEYOND} image in it"


def flash_tracks(
    image: Sequence[Segment],
    chip: Chip,
    boot_bytes: int,
    *,
    read: int = 0,
    proven: Collection[int] = (),
    here: int | None = None,
) -> list[tuple[str, str, str]]:
    """Return (first address, a character for each page, words) for every 32 pages.

    image: the address ranges with bytes of the image. boot_bytes: size of the bootloader's section.
    read: how many pages were read, from the first. proven: the pages written and read back. here:
    the page that was read or proven last, None to mark none.
    """
    used = pages_of(image, chip)
    boot = chip.application_end(boot_bytes) // chip.page_bytes
    tracks = []
    for first in range(0, chip.pages, _PAGES_A_TRACK):
        row = range(first, min(first + _PAGES_A_TRACK, chip.pages))
        signs = [
            HERE if page == here else _sign(page, boot, used=page in used, proven=page in proven)
            for page in row
        ]
        words = _words(row, used, proven, min(max(0, read - first), len(row)))
        tracks.append((f"{first * chip.page_bytes:04X}", "".join(signs), words))
    return tracks


def _sign(page: int, boot: int, *, used: bool, proven: bool) -> str:
    if proven:
        return USED
    if page < boot:
        return SENT if used else UNUSED
    if used:
        return BEYOND
    return LIMIT if page == boot else " "


def _words(row: range, used: Collection[int], proven: Collection[int], read: int) -> str:
    done = sum(page in proven for page in row)
    if done:
        return f"{done} proven"
    if read:
        return f"{read} read"
    held = sum(page in used for page in row)
    return plural(held, "page") if held else ""


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
