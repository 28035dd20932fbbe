"""The other screens that the desk opens, each imported when it is first shown."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hostlink.app.desk.part import DeskPart

if TYPE_CHECKING:
    from textual.screen import Screen

    from hostlink.app.screens.choosing import ChoosePath
    from hostlink.app.screens.revisions import Wish


class OtherScreens(DeskPart):
    """Opens the other screens, and does what was chosen there."""

    def revisions(self) -> None:
        """Show the revisions of the program in the editor, or of the one at the list's cursor."""
        from hostlink.app.screens.revisions import RevisionsScreen

        if name := self.chosen_program():
            self.app.push_screen(RevisionsScreen(name), self._wished)

    def rescues(self) -> None:
        """Show what boards held before it was overwritten."""
        from hostlink.app.screens.rescues import RescuesScreen

        self.app.push_screen(RescuesScreen(), self._wished)

    def _wished(self, wish: Wish | None) -> None:
        """Do what was chosen on a screen with a revision or a rescue."""
        self.desk.shelf.renew()  # restored, retired or put back meanwhile
        if wish is None:
            return
        what, spec = wish
        if what == "open":
            self.sheets.open_word(spec)
        else:
            attached = self.desk.readings.need()
            if attached is not None:
                self.desk.transfers.load_word(attached, spec)

    def boards(self) -> None:
        """Show the screen of boards."""
        from hostlink.app.screens.boards import BoardsScreen

        self.app.push_screen(BoardsScreen())

    def several(self) -> None:
        """Show the screen that works with several boards at once."""
        from hostlink.app.screens.several_boards import SeveralScreen

        self.app.push_screen(SeveralScreen())

    def class_register(self) -> None:
        """Ask for a class register, and show the class."""
        from hostlink.app.screens.choosing import ChoosePath
        from hostlink.app.screens.class_screen import ClassScreen, read_class

        self._ask_for_file(
            ChoosePath(
                "Which class register?",
                hint="A TOML file that says who has which board.",
                suffixes=(".toml",),
            ),
            lambda path: ClassScreen(read_class(self.app, path)),
        )

    def _ask_for_file(self, which: ChoosePath, screen: Callable[[Path], Screen[Any]]) -> None:
        """Ask for a file, and show the screen made from it, or why it cannot be read."""
        from hostlink.jobs.files import named_path

        def answered(name: str | None) -> None:
            made = self.app.attempt(lambda: screen(named_path(name))) if name else None
            if made is not None:
                self.app.push_screen(made)

        self.app.push_screen(which, answered)

    def settings(self) -> None:
        """Show the settings."""
        from hostlink.app.screens.settings import SettingsScreen

        self.app.push_screen(SettingsScreen())

    def backups(self) -> None:
        """Show the backups."""
        from hostlink.app.screens.backups import BackupsScreen

        self.app.push_screen(BackupsScreen())

    def stored(self) -> None:
        """Show the programs stored on the current board."""
        from hostlink.app.screens.stored import show_stored

        attached = self.desk.readings.need()
        if attached is not None:
            show_stored(self.app, attached)

    def firmware(self) -> None:
        """Show the firmware write under way; without one ask for an image and show its review."""
        from hostlink.app.screens.choosing import ChoosePath
        from hostlink.app.screens.firmware import FirmwareScreen, review_file

        if self.desk.firmware_writes.under_way:
            self.app.push_screen(FirmwareScreen(self.desk.firmware_writes.reviewed))
            return

        self._ask_for_file(
            ChoosePath(
                "Which firmware image?",
                hint="An Intel HEX file; it is only reviewed.",
                suffixes=(".hex", ".ihx", ".ihex"),
            ),
            lambda path: FirmwareScreen(review_file(path)),
        )

    def firmware_history(self) -> None:
        """Show which firmware was written to which board, and offer to go back."""
        from hostlink.app.screens.firmware import FirmwareScreen

        self.app.push_screen(FirmwareScreen(None))

    def publish(self) -> None:
        """Ask which programs to publish, and where, and write them as a booklet or a site."""
        from hostlink.app.screens.many_listings import ask_to_publish

        ask_to_publish(self.app)
