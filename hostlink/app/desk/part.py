"""The base class of the desk's parts, each of which has one task."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.desk.desk import Desk
    from hostlink.app.desk.sheet_pane import SheetPane


class DeskPart:
    """A part of the desk with one task; gives access to the app and the open listing."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    @property
    def app(self) -> DeskApp:
        """Return the running application."""
        return self.desk.app

    def chosen_program(self) -> str:
        """Return the program at the cursor or in the editor; say so and return "" if none is."""
        name = self.desk.program
        if not name:
            self.app.tell("The archive has no program yet: keep the listing first.")
        return name

    @property
    def sheets(self) -> SheetPane:
        """Return the pane with the open listing."""
        return self.desk.sheet_pane
