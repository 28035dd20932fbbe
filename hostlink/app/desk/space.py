"""How the user divides the space of the desk."""

from __future__ import annotations

from textual.widgets import Input

from hostlink.app.desk.part import DeskPart


class Space(DeskPart):
    """Gives the listing and the console more room than they usually have."""

    def toggle_quiet(self) -> None:
        """Toggle the layout for a projector: only the listing and the console."""
        self.desk.toggle_class("-quiet")
        self.desk.show_band("console")
        self.desk.to_listing()

    def enlarge_console(self) -> None:
        """Toggle a console that takes most of the screen."""
        self.desk.toggle_class("-big")
        if self.desk.has_class("-big"):
            self.desk.show_band("console")
            self.desk.query_one("#console-line", Input).focus()
