"""Find files and folders that begin as typed, to complete a name."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from textual import events
from textual.suggester import Suggester

from hostlink.app.widgets.text_line import TextLine
from hostlink.jobs.files import named_path
from hostlink.words import natural

_MOST = 1_000  # entries of a folder that are looked at


def matching_paths(text: str, suffixes: Sequence[str] = ()) -> list[str]:
    """Return the names in a folder that begin as typed: folders first, each with a / after it.

    text: a folder and the beginning of a name, either of which may be missing. suffixes: of the
    files to return; all if empty. Hidden names are returned only if one is begun. A folder that
    cannot be read holds nothing.
    """
    folder = folder_of(text)
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


def folder_of(text: str) -> str:
    """Return the part of a typed path up to its last separator, as it was typed."""
    at = max(text.rfind(sign) for sign in {"/", os.sep})
    return text[: at + 1]


def common_beginning(names: Sequence[str]) -> str:
    """Return the longest beginning that all names share, "" for no name."""
    first = names[0] if names else ""
    same = (at for at in range(len(first), 0, -1) if all(n.startswith(first[:at]) for n in names))
    return first[: next(same, 0)]


class PathSuggester(Suggester):
    """Suggests the first file or folder that begins as typed; Right takes it into the line."""

    def __init__(self) -> None:
        super().__init__(use_cache=False, case_sensitive=True)

    async def get_suggestion(self, value: str) -> str | None:
        """Return a path that begins with `value`, or None."""
        found = matching_paths(value) if value else []
        return folder_of(value) + found[0] if found else None


class PathLine(TextLine):
    """A line for a file or folder. Tab completes its name, and goes on where it adds nothing."""

    def __init__(self, value: str = "", *, id: str) -> None:
        super().__init__(value, id=id)
        self.suggester = PathSuggester()

    async def _on_key(self, event: events.Key) -> None:
        if event.key == "tab" and self._complete():
            event.stop()
            event.prevent_default()
            return
        await super()._on_key(event)

    def _complete(self) -> bool:
        """Complete the typed path as far as all matches agree; return whether that helped."""
        if not self.value:
            return False
        whole = folder_of(self.value) + common_beginning(matching_paths(self.value))
        is_longer = len(whole) > len(self.value)
        if is_longer and whole.casefold().startswith(self.value.casefold()):
            self.value = whole
            self.cursor_position = len(whole)
            return True
        return False
