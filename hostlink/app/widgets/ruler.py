"""The ruler: what the board holds and what the listing would take, drawn to one scale."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, ClassVar

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from hostlink.app import board_words
from hostlink.ruler import ruler
from hostlink.words import BEYOND, HERE, LIMIT, SENT, UNUSED, USED, safe

if TYPE_CHECKING:
    from hostlink.listing import Ledger

_NAMES = ("board", "listing")
_NAME_WIDTH = max(map(len, _NAMES)) + 1
_LEAST_TRACK = 12  # cells; with less, the short words stand beside the tracks
_WIDEST_TRACK = 76  # cells, as the listing below


@dataclass(frozen=True, slots=True)
class BoardTrack:
    """What the ruler shows of the board.

    words: beside the track. used: bytes that the board is known to hold. sent: bytes that were
    sent to it and are not proven yet; they are drawn after `used`.
    """

    words: str = ""
    used: int = 0
    sent: int = 0


class MemoryRuler(Widget):
    """Two tracks drawn to one scale, each between its name and its state in words."""

    @dataclass
    class LineChosen(Message):
        """A line was clicked. at: its row in the listing, from 1."""

        at: int

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "ruler--used",
        "ruler--sent",
        "ruler--unused",
        "ruler--beyond",
        "ruler--limit",
        "ruler--here",
        "ruler--words",
    }
    _STYLES: ClassVar[dict[str, str]] = {
        USED: "ruler--used",
        SENT: "ruler--sent",
        UNUSED: "ruler--unused",
        BEYOND: "ruler--beyond",
        LIMIT: "ruler--limit",
        HERE: "ruler--here",
        " ": "ruler--unused",
    }

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._ledger: Ledger | None = None
        self._here = (0, 0)
        self._board = BoardTrack()

    def show(self, ledger: Ledger, here: tuple[int, int]) -> None:
        """Show a listing's ledger. here: first and last byte of the line at the cursor."""
        if self._ledger is ledger and self._here == here:
            return  # as at most keys in a long listing, which is measured after a pause
        self._ledger = ledger
        self._here = here
        self.refresh()

    def show_board(self, board: BoardTrack) -> None:
        """Show what the board holds."""
        if board != self._board:
            self._board = board
            self.refresh()

    def render_line(self, y: int) -> Strip:
        width = self.size.width
        ledger = self._ledger
        if ledger is None or y > 1:
            return Strip.blank(width, self.rich_style)
        words, track, scale = self._measures(ledger)
        used, sent = self._board.used, self._board.sent
        if y:
            drawn = ruler(track, ledger.total, ledger.limit, self._here, scale=scale)
        else:
            drawn = ruler(track, used + sent, ledger.limit, scale=scale)
            if sent:
                proven = used * track // scale
                drawn = drawn[:proven] + drawn[proven:].replace(USED, SENT)
        state = self._style("ruler--beyond" if y and ledger.over else "ruler--words")
        parts = [Segment(f"{_NAMES[y]:<{_NAME_WIDTH}}", self.rich_style)]
        for one, run in groupby(drawn):
            parts.append(Segment("".join(run), self._style(self._STYLES[one])))
        room = max(0, width - _NAME_WIDTH - track)
        parts.append(Segment(set_cell_size(f"  {words[y]}", room), state))
        return Strip(parts, width)

    def _measures(self, ledger: Ledger) -> tuple[tuple[str, str], int, int]:
        """Return the words beside the tracks, and the cells and the bytes of a track."""
        words = (safe(self._board.words), board_words.room_words(ledger))
        track = self._track_width(words)
        if track < _LEAST_TRACK:
            words = (safe(self._board.words), board_words.short_room_words(ledger))
            track = max(4, self._track_width(words))
        held = self._board.used + self._board.sent
        return words, track, max(ledger.limit, ledger.total, held, 1)

    def on_click(self, event: events.Click) -> None:
        """Post LineChosen for a click on the listing's track where it has bytes."""
        place, ledger = event.get_content_offset(self), self._ledger
        if place is None or ledger is None or place.y != 1:
            return
        _, track, scale = self._measures(ledger)
        cell = place.x - _NAME_WIDTH
        if not 0 <= cell < track:
            return
        first, last = cell * scale / track, (cell + 1) * scale / track
        for row in ledger.rows:
            if row.cost and row.so_far - row.cost < last and row.so_far > first:
                self.post_message(self.LineChosen(row.line.at))
                return

    def _track_width(self, words: tuple[str, str]) -> int:
        beside = max(cell_len(each) for each in words)
        return min(_WIDEST_TRACK, self.size.width - _NAME_WIDTH - 2 - beside)

    def _style(self, name: str) -> Style:
        return self.get_component_rich_style(name)
