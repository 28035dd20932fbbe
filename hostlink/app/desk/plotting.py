"""Draw the numbers that a program prints, beside the console."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from hostlink.app.console import ConsolePane, Transcript
from hostlink.app.desk.part import DeskPart

if TYPE_CHECKING:
    from hostlink.app.desk.desk import Desk
    from hostlink.app.widgets.number_plot import NumberPlot


class Plotting(DeskPart):
    """Shows the drawing and passes on to it what is printed."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._plot: NumberPlot | None = None
        self._line = ""  # the typed line that started the program

    def toggle(self) -> None:
        """Show the drawing, with the numbers in the console, or remove it."""
        from hostlink.app.widgets.number_plot import NumberPlot

        if self._plot is not None:
            self._plot.remove()
            self._plot = None
            return
        self._plot = NumberPlot(id="plot")
        self.renew()
        self.desk.query_one(ConsolePane).mount(self._plot)
        if not self.desk.has_class("-big"):
            self.desk.space.enlarge_console()

    def renew(self) -> None:
        """Draw the numbers in the console, which may show another board now."""
        self.begin()
        if self._plot is not None:
            self._plot.add(self.desk.query_one(Transcript).printed)

    def begin(self, line: str = "") -> None:
        """Begin a new plot. line: what was typed to start the program; its echo is left out."""
        self._line = line
        if self._plot is not None:
            self._plot.begin()

    def take(self, rows: Sequence[tuple[str, bool]]) -> None:
        """Draw new rows of the console: the text of each, and whether it is hostlink's own."""
        if self._plot is not None:
            line = self._line or "\n"
            self._plot.add(text for text, ours in rows if not (ours or text.endswith(line)))
