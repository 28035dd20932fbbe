"""The board's console on the desk: its output, and a line to type.

It is a plain terminal: control characters are shown and not obeyed, rows are cut at the width of
the board's screen, and the newest MOST_ROWS of each board are kept.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import ClassVar

from rich.cells import chop_cells
from rich.segment import Segment
from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.geometry import Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.widgets import Input, Label

from hostlink.app.actions.table import way_back
from hostlink.app.placing import with_line_feeds
from hostlink.app.widgets.heading import Heading
from hostlink.app.widgets.text_line import TextLine
from hostlink.words import safe

MOST_ROWS = 2_000
_MOST_SENT = 200  # lines that can be called up again
_UNSEEN_WIDTH = 76  # cells; rows are cut so while the console is not on the screen


class Transcript(ScrollView, can_focus=True):
    """Rows that a board sent, the newest at the bottom; what hostlink says has a sign in front."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"transcript--ours"}

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._kept: dict[str, deque[tuple[str, bool]]] = {}
        self._rows: deque[tuple[str, bool]] = self._kept.setdefault("", deque(maxlen=MOST_ROWS))
        self._shown: deque[tuple[str, bool]] = deque(maxlen=MOST_ROWS)  # the same, cut
        self._open = ""  # the row that a program is printing
        self._follows = True  # the newest row is shown, until the user scrolls away from it
        self._board_width = self._width = 0

    def show_board(self, port: str, width: int) -> bool:
        """Show the rows of the board at a port from now on; return whether the board changed.

        width: columns of its screen, 0 where that is not known.
        """
        rows = self._kept.setdefault(port, deque(maxlen=MOST_ROWS))
        is_other = rows is not self._rows
        if is_other or width != self._board_width:
            self._rows, self._board_width, self._follows = rows, width, True
            self._cut_again()
        return is_other

    def add(self, rows: Sequence[tuple[str, bool]], open_row: str = "") -> None:
        """Append rows: the text of each, and whether it is hostlink's own message.

        open_row: is shown below them until the next call.
        """
        self._rows.extend(rows)
        self._open = safe(open_row)
        self._cut(rows)

    def _cut_again(self) -> None:
        self._shown.clear()
        self._cut(self._rows)

    def _cut(self, rows: Iterable[tuple[str, bool]]) -> None:
        """Cut the rows to the available width, and show them."""
        width = max(8, self.size.width - 2) if self.size.width else _UNSEEN_WIDTH
        for text, ours in rows:
            shown = safe(text)
            most = width if ours or not self._board_width else min(width, self._board_width)
            for row in wrap(shown, most) if ours else [shown]:
                self._shown.extend((cut, ours) for cut in chop_cells(row, most) or [""])
        self.virtual_size = Size(self.size.width, len(self._shown) + bool(self._open))
        self._show_newest()
        self.refresh()

    def _show_newest(self) -> None:
        if self._follows:
            self.scroll_end(animate=False, immediate=True, force=True)

    @property
    def text(self) -> str:
        """Return all rows that are shown, as text."""
        return "\n".join(text for text, _ in self._shown)

    @property
    def printed(self) -> list[str]:
        """Return the rows that the board sent, of those that are kept."""
        return [text for text, ours in self._rows if not ours]

    def watch_scroll_y(self, old_value: float, new_value: float) -> None:
        """Follow the newest row while it is in view; stop when the user scrolls up."""
        super().watch_scroll_y(old_value, new_value)
        self._follows = self.scroll_offset.y >= self.max_scroll_y - 1

    def on_resize(self, event: events.Resize) -> None:
        """Cut the rows for the new width, and keep the newest one in sight."""
        if event.size.width != self._width:
            self._width = event.size.width
            self._cut_again()
        self._show_newest()

    def render_line(self, y: int) -> Strip:
        place = y + self.scroll_offset.y
        if place >= len(self._shown):
            row = self._open if place == len(self._shown) else ""
            return Strip([Segment(f"  {row[2 - self.size.width :]}", self.rich_style)])
        text, ours = self._shown[place]
        style = self.get_component_rich_style("transcript--ours") if ours else self.rich_style
        sign = "» " if ours else "  "
        return Strip([Segment(sign + text, style)]).adjust_cell_length(
            self.size.width, self.rich_style
        )


class ConsoleLine(TextLine):
    """The line to type, one for each board. A paste of several lines is posted as `Pasted`."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "turn(1)", "Earlier line", show=False),
        Binding("down", "turn(-1)", "Later line", show=False),
    ]

    class Pasted(Message):
        """Several lines were pasted."""

        def __init__(self, text: str) -> None:
            super().__init__()
            self.text = text

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._port = ""  # until a board is attached; the first gets what was typed by then
        self._typed: dict[str, str] = {}  # what was typed to the other boards and not sent
        self._sent: deque[str] = deque(maxlen=_MOST_SENT)
        self._back = 0  # which sent line is shown, counted from the newest; 0: the one being typed
        self._newest = ""  # the one being typed, while a sent one is shown

    def show_board(self, port: str) -> None:
        """Keep what was typed so far, and show what was typed for the board at this port."""
        if self._port:
            self._typed[self._port] = self.value
            self.value = self._typed.pop(port, "")
            self.cursor_position = len(self.value)
            self._back = 0
        self._port = port

    def sent(self) -> str:
        """Clear the line for the next one; return what it was."""
        line, self._back = self.value, 0
        self.clear()
        if line.strip() and line not in list(self._sent)[-1:]:
            self._sent.append(line)
        return line

    def action_turn(self, by: int) -> None:
        """Show a line that was sent earlier, or the one being typed again."""
        back = min(max(self._back + by, 0), len(self._sent))
        if self._back == 0:
            self._newest = self.value
        if back != self._back:
            self._back = back
            self.value = self._sent[-back] if back else self._newest
            self.cursor_position = len(self.value)

    def _on_paste(self, event: events.Paste) -> None:
        text = with_line_feeds(event.text)
        if "\n" in text.strip("\n"):
            self.post_message(self.Pasted(text))
            event.prevent_default()
            event.stop()


class ConsolePane(Vertical):
    """The transcript above the typed line, which begins with the board's own prompt."""

    class Entered(Message):
        """A line was typed."""

        def __init__(self, line: str) -> None:
            super().__init__()
            self.line = line

    def compose(self) -> ComposeResult:
        yield Heading(id="console-head")
        yield Transcript(id="transcript")
        with Horizontal(id="console-row"):
            yield Label("", id="console-prompt", markup=False)
            yield ConsoleLine(id="console-line")

    def on_mount(self) -> None:
        """Say what the keys do; where there is little room, say only how to leave."""
        out = f"{way_back()} leaves"
        sends = "Enter sends, Up brings back what was sent"
        texts = (f"Console: {sends}, {out}", f"Console: Enter sends, {out}", f"Console: {out}", out)
        self.query_one(Heading).say(*texts)

    def show_board(self, port: str, width: int) -> bool:
        """Show another board, see `Transcript.show_board`, with what is typed to it."""
        is_other = self.query_one(Transcript).show_board(port, width)
        if is_other:
            self.query_one(ConsoleLine).show_board(port)
        return is_other

    def show(self, rows: Sequence[tuple[str, bool]], open_row: str, *, prints: bool) -> None:
        """Show what came from the board.

        open_row: the row that has not ended; it stands before the typed line, as a prompt or a
        question. prints: a program is still printing it, so it stands below the other rows.
        """
        self.query_one(Transcript).add(rows, open_row if prints else "")
        prompt = "" if prints else safe(open_row)[-40:]
        self.query_one("#console-prompt", Label).update(Content(prompt or "  "))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.post_message(self.Entered(self.query_one(ConsoleLine).sent()))
