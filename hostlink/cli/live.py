"""Live lines of progress at the bottom of a terminal, and what is said above them.

Labels and what boards say stand in them, so all of it is made safe here (see output.py).
"""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, ProgressColumn, Task, TextColumn, TimeRemainingColumn
from rich.text import Text

from hostlink.words import safe


class _SafeColumn(TextColumn):
    """A column of text from anywhere. The format is that of rich's TextColumn."""

    def render(self, task: Task) -> Text:
        return Text(safe(self.text_format.format(task=task)))


class LiveLines:
    """A line for each task, written over as it goes on. left, right: formats of a line's text."""

    def __init__(self, left: str, right: str, *, bar: int, time_left: bool = False) -> None:
        columns: list[ProgressColumn] = [
            _SafeColumn(left),
            BarColumn(bar_width=bar),
            _SafeColumn(right),
        ]
        if time_left:
            columns.append(TimeRemainingColumn(compact=True))
        self._progress = Progress(
            *columns,
            console=Console(stderr=True, markup=False, highlight=False),
            transient=True,
        )
        self._progress.start()

    def add(self, description: str = "", **fields: Any) -> Any:
        """Add a line and return what `update` knows it by."""
        return self._progress.add_task(description, total=None, **fields)

    def update(self, line: Any, **news: Any) -> None:
        """Change a line: description, total, completed, or a field of its own."""
        self._progress.update(line, **news)

    def remove(self, line: Any) -> None:
        """Take a line away."""
        self._progress.remove_task(line)

    def say(self, text: str) -> None:
        """A sentence above the lines, which stays."""
        self._progress.console.print(safe(text), markup=False)

    def stop(self) -> None:
        """Take all lines away."""
        self._progress.stop()
