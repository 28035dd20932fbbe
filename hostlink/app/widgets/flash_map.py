"""Flash as tracks of 32 pages, which fill as its pages are read, written and read back."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import groupby

from textual.content import Content
from textual.widgets import Static

from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Segment
from hostlink.firmware.memory_map import MAP_LEGEND, flash_tracks
from hostlink.words import BEYOND, HERE, LIMIT, SENT, UNUSED, USED

LEGEND = f"{USED} proven  {MAP_LEGEND}"
_STYLES = {
    USED: "$accent",
    SENT: "$warning",
    UNUSED: "$border-blurred",
    BEYOND: "bold $error",
    LIMIT: "bold $foreground",
    HERE: "bold $primary",
}


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
