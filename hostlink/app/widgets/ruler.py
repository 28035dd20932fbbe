"""The ruler of the program memory: how much the listing takes, and where the board's limit is."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip
from textual.widget import Widget

from hostlink.app import texts

if TYPE_CHECKING:
    from hostlink.listing import Ledger


class MemoryRuler(Widget):
    """Two rows: the memory drawn to scale, and its figures with the state in words."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "ruler--used",
        "ruler--unused",
        "ruler--beyond",
        "ruler--limit",
        "ruler--here",
        "ruler--words",
    }
    _NAMES: ClassVar[dict[str, str]] = {
        texts.USED: "ruler--used",
        texts.UNUSED: "ruler--unused",
        texts.BEYOND: "ruler--beyond",
        texts.LIMIT: "ruler--limit",
        texts.HERE: "ruler--here",
    }

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._ledger: Ledger | None = None
        self._here = (0, 0)

    def show(self, ledger: Ledger, here: tuple[int, int]) -> None:
        """Show a listing's ledger. here: first and last byte of the line at the cursor."""
        self._ledger = ledger
        self._here = here
        self.refresh()

    @property
    def words(self) -> str:
        """Return how the listing fits, in words."""
        return f"listing: {texts.room_words(self._ledger)}" if self._ledger is not None else ""

    def render_line(self, y: int) -> Strip:
        width = self.size.width
        ledger = self._ledger
        if ledger is None:
            return Strip.blank(width, self.rich_style)
        if y == 0:
            drawn = texts.ruler(width, ledger.total, ledger.limit, self._here)
            return Strip([Segment(one, self._style(self._NAMES[one])) for one in drawn], width)
        if y > 1:
            return Strip.blank(width, self.rich_style)
        words = f"  {self.words}"
        # The words stand at the right, under the end of the memory; figures have what is left.
        scale = texts.ruler_scale(width, ledger.total, ledger.limit)
        room = max(0, width - len(words))
        style = self._style("ruler--beyond") if ledger.over else self._style("ruler--words")
        cut = (
            scale[:room].rsplit(" ", 1)[0] if room < width and scale[room] != " " else scale[:room]
        )
        return Strip(
            [Segment(cut.ljust(room), self.rich_style), Segment(words[: width - room], style)],
            width,
        )

    def _style(self, name: str) -> Style:
        return self.get_component_rich_style(name)
