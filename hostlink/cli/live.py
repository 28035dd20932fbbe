"""Live lines of progress at the bottom of a terminal, with messages above them.

They hold labels and text from boards, so all of it is made safe here (see output.py).
"""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, ProgressColumn, Task, TextColumn, TimeRemainingColumn
from rich.text import Text

from hostlink.words import safe


class _SafeColumn(TextColumn):
    """A column that shows any text as plain text. The format is that of rich's TextColumn."""

    def render(self, task: Task) -> Text:
        return Text(safe(self.text_format.format(task=task)))


class LiveLines:
    """One line per task, overwritten as it proceeds. left, right: formats of a line's text."""

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
        """Add a line and return its id for `update`."""
        return self._progress.add_task(description, total=None, **fields)

    def update(self, line: Any, **news: Any) -> None:
        """Change a line: description, total, completed, or a field of its own."""
        self._progress.update(line, **news)

    def remove(self, line: Any) -> None:
        """Remove a line."""
        self._progress.remove_task(line)

    def say(self, text: str) -> None:
        """Print a sentence above the lines; it stays."""
        self._progress.console.print(safe(text), markup=False)

    def stop(self) -> None:
        """Remove all lines."""
        self._progress.stop()
