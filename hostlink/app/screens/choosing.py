"""Ask for a file or folder in a line with completion, above a list of what the folder holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Input

from hostlink.app.screens.dialogues import AskText, beginning_here
from hostlink.app.widgets.paths import common_beginning, folder_of, matching_paths
from hostlink.app.widgets.rows import Entry, ListColumn, Rows, go_between


class ChoosePath(AskText):
    """A question answered by the name of a file or folder; None if it is cancelled.

    suffixes: of the files that are shown; none shows every file. The answer may be any text, such
    as the name of another file or of one that does not exist yet.
    """

    KEYS: ClassVar[str] = (
        "Tab completes, Down goes to the list; Enter there opens a folder. "
        "Enter in the line takes the file. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab", "complete", "Complete", show=False, priority=True),
    ]

    def __init__(
        self, question: str, value: str = "", *, hint: str = "", suffixes: Sequence[str] = ()
    ) -> None:
        super().__init__(question, value, hint=f"{hint} {beginning_here()}".strip())
        self._suffixes = tuple(suffixes)

    def _answered_by(self) -> Iterator[Widget]:
        yield from super()._answered_by()
        yield Rows([ListColumn("here", -1)], id="places")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#answer").focus()
        self._list()

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self._list()

    def _list(self) -> None:
        text = self.query_one("#answer", Input).value
        names = matching_paths(text, self._suffixes)
        begins = " that begins like this" * bool(text[len(folder_of(text)) :])
        rows = self.query_one(Rows)
        rows.empty = f"There is no folder and no file to choose here{begins}."
        rows.show([Entry(name, (name,)) for name in names], stay=False)

    def _take(self, name: str) -> None:
        """Put a name from the list into the line, after the folder."""
        line = self.query_one("#answer", Input)
        line.value = folder_of(line.value) + name
        line.cursor_position = len(line.value)

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        """Open a folder, or answer with a file."""
        event.stop()
        self._take(event.key)
        if event.key.endswith("/"):
            self._list()
            self.query_one(Rows).focus()
        else:
            self.dismiss(self.query_one("#answer", Input).value)

    def on_key(self, event: events.Key) -> None:
        """Move between the line and the list with Down and Up."""
        go_between(event, self.query_one("#answer", Input), self.query_one(Rows))

    def action_complete(self) -> None:
        """Add what all names in the list begin with, or the name at the list's cursor."""
        rows = self.query_one(Rows)
        line = self.query_one("#answer", Input)
        names = [one.key for one in rows.entries]
        if not names:
            return
        typed = line.value[len(folder_of(line.value)) :]
        common = common_beginning(names) if line.has_focus else rows.key
        if common.casefold().startswith(typed.casefold()) and len(common) > len(typed):
            self._take(common)
        line.focus()
