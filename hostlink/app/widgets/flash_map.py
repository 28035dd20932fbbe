"""Flash as tracks of 32 pages, which fill as its pages are read, written and read back."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import groupby

from textual.content import Content
from textual.widgets import Static

from hostlink.app.board_words import BEYOND, HERE, LIMIT, SENT, UNUSED, USED
from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Segment
from hostlink.firmware.memory_map import PAGES_A_ROW, pages_of
from hostlink.words import plural

LEGEND = (
    f"{USED} proven  {SENT} image  {UNUSED} blank  {LIMIT} the bootloader begins  "
    f"{BEYOND} image in it"
)
_STYLES = {
    USED: "$accent",
    SENT: "$warning",
    UNUSED: "$border-blurred",
    BEYOND: "bold $error",
    LIMIT: "bold $foreground",
    HERE: "bold $primary",
}


def flash_tracks(
    image: Sequence[Segment],
    chip: Chip,
    boot_bytes: int,
    *,
    read: int = 0,
    proven: Collection[int] = (),
    here: int | None = None,
) -> list[tuple[str, str, str]]:
    """Return (first address, a sign for each page, words) of each 32 pages.

    image: the address ranges with bytes of the image. boot_bytes: size of the bootloader's section.
    read: how many pages were read, from the first. proven: the pages written and read back. here:
    the page that was read or proven last, None to mark none.
    """
    used = pages_of(image, chip)
    boot = chip.application_end(boot_bytes) // chip.page_bytes
    tracks = []
    for first in range(0, chip.pages, PAGES_A_ROW):
        row = range(first, min(first + PAGES_A_ROW, chip.pages))
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


class FlashMap(Static):
    """The map of one chip's flash. chip, boot_bytes: as for `flash_tracks`."""

    def __init__(self, chip: Chip, boot_bytes: int) -> None:
        super().__init__("", id="flash", markup=False)
        self._chip, self._boot_bytes = chip, boot_bytes

    def show(
        self,
        image: Sequence[Segment],
        *,
        read: int = 0,
        proven: Collection[int] = (),
        here: int | None = None,
    ) -> None:
        """Show what is known of each page; see `flash_tracks`."""
        parts: list[tuple[str, str]] = []
        tracks = flash_tracks(
            image, self._chip, self._boot_bytes, read=read, proven=proven, here=here
        )
        for address, signs, words in tracks:
            parts.append((f"{address} ", ""))
            for sign, run in groupby(signs):
                parts.append(("".join(run), _STYLES.get(sign, "")))
            parts.append((f"  {words}\n", ""))
        self.update(Content.assemble(*parts, LEGEND))
