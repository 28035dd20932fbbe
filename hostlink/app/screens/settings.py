"""The settings: theme, default port and profile; each is remembered as soon as it is changed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widget import Widget

from hostlink.app.screens.dialogues import AskText
from hostlink.app.sentences import AT_CURSOR
from hostlink.app.settings import MOST_MINUTES, is_minutes
from hostlink.app.themes import NAMES, name_in_settings
from hostlink.app.widgets.page import Page
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.words import plural


def _often(minutes: int) -> str:
    if not minutes:
        return "when attached and on request (Look at the board)"
    return f"again every {plural(minutes, 'minute')}, while it waits at its prompt"


class SettingsScreen(Page[None]):
    """Shows the settings; Enter changes one."""

    AUTO_FOCUS = "#settings"
    HEAD = "Settings"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "change", "Change it", priority=True, tooltip=AT_CURSOR),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def body(self) -> Iterator[Widget]:
        """Lay out the list of settings and their values."""
        with Vertical(classes="across"):
            yield Rows([ListColumn("setting"), ListColumn("value", -1)], id="settings")

    def foot(self) -> str:
        """Return the line of keys, with the file in which the settings are kept."""
        return f"Enter changes a value. All are kept in {self.app.settings_file}. Escape goes back."

    def on_mount(self) -> None:
        self._show()

    def _show(self) -> None:
        settings = self.app.settings
        self.query_one(Rows).show(
            [
                Entry("theme", ("theme", name_in_settings(self.app.theme))),
                Entry("port", ("port at start-up", settings.port or "none")),
                Entry("profile", ("profile", settings.profile or "the one known for the board")),
                Entry("capture_minutes", ("read the board", _often(settings.capture_minutes))),
            ]
        )

    def action_change(self) -> None:
        key = self.query_one(Rows).key
        if key == "theme":
            here = NAMES.index(name_in_settings(self.app.theme))
            self.app.use_theme(NAMES[(here + 1) % len(NAMES)])
            self._show()
        elif key == "port":
            self._ask("port", "Which port is opened at the start?", "Its name; - for none.")
        elif key == "capture_minutes":
            self._ask_minutes()
        else:
            names = ", ".join(shipped_profiles())
            self._ask("profile", "Which profile?", f"A TOML file, or {names}; - for none.")

    def _ask(self, key: str, question: str, hint: str) -> None:
        def answered(value: str | None) -> None:
            if not value:
                return
            value = "" if value == "-" else value
            if key == "profile":
                if value and self.app.attempt(lambda: find_profile(value)) is None:
                    return
                self.app.first_profile = value
                self.app.desk.readings.show()
            self.app.keep_settings(**{key: value})
            self._show()

        held = getattr(self.app.settings, key)
        self.app.push_screen(AskText(question, held, hint=hint), answered)

    def _ask_minutes(self) -> None:
        def answered(value: str | None) -> None:
            if not value:
                return
            minutes = int(value) if value.isdecimal() and len(value) < 6 else -1
            if not is_minutes(minutes):
                self.app.notify(
                    f"Type a whole number of minutes from 0 to {MOST_MINUTES:,}.", markup=False
                )
                return
            self.app.keep_settings(capture_minutes=minutes)
            self._show()

        self.app.push_screen(
            AskText(
                "After how many minutes is a board that waits at its prompt read again?",
                str(self.app.settings.capture_minutes),
                hint="This finds what was typed at the board's own keyboard. 0 means never.",
            ),
            answered,
        )
