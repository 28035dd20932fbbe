"""Asking for a file or folder: a line that completes, and below it what its folder holds."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.suggester import Suggester
from textual.widgets import Input

from hostlink.app.screens.dialogues import AskText, part
from hostlink.app.widgets.rows import Column, Entry, Rows
from hostlink.app.widgets.text_line import TextLine
from hostlink.archive.names import natural
from hostlink.jobs.files import named_path

_MOST = 1_000  # entries of a folder that are looked at


class ChoosePath(AskText):
    """A question answered by the name of a file or folder; None if it is cancelled.

    suffixes: the only files shown; every file if empty. An answer may be any text: a name of
    another kind, or that of a file which is still to be made.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab", "complete", "Complete", show=False, priority=True),
    ]

    def __init__(
        self, question: str, value: str = "", *, hint: str = "", suffixes: Sequence[str] = ()
    ) -> None:
        super().__init__(question, value, hint=hint)
        self._suffixes = tuple(suffixes)

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            yield part(self.question)
            yield TextLine(self.value, id="answer")
            yield Rows(
                [Column("here", -1)], empty="No file or folder begins like this.", id="places"
            )
            yield part(
                f"{self.hint} Tab completes, Down goes to the list; Enter there opens a folder. "
                "Enter in the line takes it, Escape leaves it.".strip(),
                name="quiet",
            )

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#answer").focus()
        self._list()

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self._list()

    def _list(self) -> None:
        text = self.query_one("#answer", Input).value
        names = places(text, self._suffixes)
        self.query_one(Rows).show([Entry(name, (name,)) for name in names], stay=False)

    def _take(self, name: str) -> None:
        """Put a name of the list into the line, behind the folder that stands there."""
        line = self.query_one("#answer", Input)
        line.value = _folder(line.value) + name
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
        line, rows = self.query_one("#answer", Input), self.query_one(Rows)
        if event.key == "down" and line.has_focus and rows.key:
            rows.focus()
        elif event.key == "up" and rows.has_focus and rows.cursor == 0:
            line.focus()
        else:
            return
        event.stop()
        event.prevent_default()

    def action_complete(self) -> None:
        """Add what all names in the list begin with, or the name at the list's cursor."""
        rows = self.query_one(Rows)
        line = self.query_one("#answer", Input)
        names = [one.key for one in rows.entries]
        if not names:
            return
        typed = line.value[len(_folder(line.value)) :]
        common = _beginning(names) if line.has_focus else rows.key
        if common.casefold().startswith(typed.casefold()) and len(common) > len(typed):
            self._take(common)
        line.focus()


def places(text: str, suffixes: Sequence[str] = ()) -> list[str]:
    """Return what a folder holds that begins as typed: folders first, each with a / behind it.

    text: a folder and the beginning of a name, either of which may be missing. suffixes: of the
    files to return; all if empty. Hidden names are returned only if one is begun. A folder that
    cannot be read holds nothing.
    """
    folder = _folder(text)
    begun = text[len(folder) :].casefold()
    found: dict[bool, list[str]] = {True: [], False: []}
    try:
        with os.scandir(named_path(folder) if folder else Path()) as entries:
            for _, entry in zip(range(_MOST), entries, strict=False):
                name = entry.name
                if not name.casefold().startswith(begun) or (name[0] == "." and not begun):
                    continue
                is_folder = entry.is_dir()
                if is_folder or not suffixes or name.lower().endswith(tuple(suffixes)):
                    found[is_folder].append(name)
    except (OSError, ValueError):
        return []
    folders = [f"{name}/" for name in sorted(found[True], key=natural)]
    return [*folders, *sorted(found[False], key=natural)]


def _folder(text: str) -> str:
    """Return the part of a typed path up to its last separator, as it was typed."""
    at = max(text.rfind(sign) for sign in {"/", os.sep})
    return text[: at + 1]


def _beginning(names: Sequence[str]) -> str:
    """Return what all names begin with."""
    first = names[0]
    same = (at for at in range(len(first), 0, -1) if all(n.startswith(first[:at]) for n in names))
    return first[: next(same, 0)]


class PathSuggester(Suggester):
    """Suggests the first file or folder that begins as typed; Right takes it into the line."""

    def __init__(self) -> None:
        super().__init__(use_cache=False, case_sensitive=True)

    async def get_suggestion(self, value: str) -> str | None:
        """Return a path that begins with `value`, or None."""
        found = places(value) if value else []
        return _folder(value) + found[0] if found else None
