"""How the desk shares its space, as far as the user decides that."""

from __future__ import annotations

from textual.widgets import Input

from hostlink.app.desk.part import DeskPart


class Space(DeskPart):
    """Gives the listing and the console more room than they usually have."""

    def be_quiet(self) -> None:
        """Leave listing and console alone on the screen, as for a projector, or end that."""
        self.desk.toggle_class("-quiet")
        self.desk.show_band("console")
        self.desk.editor.focus()

    def enlarge_console(self) -> None:
        """Give the console most of the screen, or its usual place again."""
        self.desk.toggle_class("-big")
        if self.desk.has_class("-big"):
            self.desk.show_band("console")
            self.desk.query_one("#console-line", Input).focus()
