"""Screens that open by themselves: questions, errors and results that no key has just asked for.

A user who is typing, perhaps with their eyes on a printed page, must neither answer such a question
nor lose a key to it. Rules:

1. A screen opens at once if no key was pressed since its cause was begun: then the user waits for
   it. A box then takes no key until none has come for EARLY_S, and says so.
2. Any other screen waits: a row above the last line says what it is about and which key opens it.
3. The row goes when its subject is settled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from hostlink.app.actions.table import way_to
from hostlink.app.desk.part import DeskPart
from hostlink.words import safe

EARLY_S = 1.0


@dataclass(frozen=True, slots=True)
class _Waiting:
    about: str
    show: Callable[[], object]
    is_open: Callable[[], bool]


class Questions(DeskPart):
    """Opens screens that open by themselves, or keeps them waiting."""

    _waiting: tuple[_Waiting, ...] = ()
    _unasked: tuple[int, Callable[[], bool]] | None = None

    @contextmanager
    def unasked(self, keys: int = 0, is_open: Callable[[], bool] = lambda: True) -> Iterator[None]:
        """Treat each screen opened in this block as one that opens by itself.

        keys: how many keys the gate had taken when the user began what causes the screen.
        is_open: tells whether it still needs an answer.
        """
        before, self._unasked = self._unasked, (keys, is_open)
        try:
            yield
        finally:
            self._unasked = before

    def open(self, screen: Screen[Any] | str, show: Callable[[], object]) -> object:
        """Open a screen at once, or later if it has to wait. show: opens it."""
        from hostlink.app.screens.dialogues import Box

        if self._unasked is None:
            return show()
        keys, is_open = self._unasked
        if keys != self.app.gate.taken or isinstance(self.app.screen, ModalScreen):
            self._waiting += (_Waiting(getattr(screen, "about", ""), show, is_open),)
            self.check()
            return None
        if isinstance(screen, Box):
            screen.take_no_key(EARLY_S)
        return show()

    def answer(self) -> None:
        """Open the screen that has waited longest."""
        self.check()
        if not self._waiting:
            self.app.tell("No question is waiting.")
            return
        first, *others = self._waiting
        self._waiting = tuple(others)
        self.check()
        first.show()

    def check(self) -> None:
        """Drop the screens whose cause is settled, and name the first of the rest on the desk."""
        self._waiting = tuple(one for one in self._waiting if one.is_open())
        row = ""
        if self._waiting:
            more = len(self._waiting) - 1
            others = f" ({more:,} more)" * bool(more)
            row = f"? {safe(self._waiting[0].about)} {way_to('answer')} opens it{others}."
        for static in self.desk.query("#asks").results(Static):
            if str(static.content) != row:
                static.update(Content(row))
                static.display = bool(row)
                self.desk.set_class(bool(row), "-asking")
