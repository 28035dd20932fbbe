"""The numbers that a program prints, drawn beside the console as they come."""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content
from textual.widget import Widget

from hostlink.publish.numbers import Numbers
from hostlink.publish.plot import plot_rows
from hostlink.words import safe


class NumberPlot(Widget):
    """Axes with one sign for each column of numbers; any number of rows is drawn without delay."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._numbers = Numbers()

    def begin(self) -> None:
        """Forget the rows of the previous run."""
        self._numbers = Numbers()
        self.refresh()

    def add(self, rows: Iterable[str]) -> None:
        """Add printed rows."""
        for row in rows:
            self._numbers.add(row)
        self.refresh()

    def render(self) -> Content:
        columns = self._numbers.shown
        if columns is None:
            return Content("No numbers have been printed yet.")
        drawn = plot_rows([columns], self.size.width, self.size.height)
        return Content("\n".join(map(safe, drawn)))
