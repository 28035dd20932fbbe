"""The app itself: its themes, its settings, its archive, and what all of its screens share."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import App
from textual.await_complete import AwaitComplete
from textual.binding import BindingType
from textual.driver import Driver
from textual.events import Event, Key, Paste
from textual.filter import NoColor
from textual.screen import Screen
from textual.widgets import Input, TextArea

from hostlink.app.actions.app_actions import EVERYWHERE
from hostlink.app.actions.table import BY_ID, use_keys, way_to, with_keys
from hostlink.app.attached_boards import AttachedBoards
from hostlink.app.escape_keys import KeyAfterEscape, separate_escapes, separated
from hostlink.app.job_showing import Done, Failed, JobShowing
from hostlink.app.key_gate import KeyGate
from hostlink.app.layout import size_classes
from hostlink.app.settings import Settings, change_settings, read_settings, settings_path
from hostlink.app.terminal import lasting
from hostlink.app.themes import MONOCHROME, THEMES, variant
from hostlink.app.ways import shown_error
from hostlink.errors import HostlinkError

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.desk.desk import Desk
    from hostlink.app.job import Job
    from hostlink.archive import Archive

LOOK_AROUND_S = 0.5  # how often to look for what is due by time alone
ABOUT = """\
The listing is in the middle. The columns beside it show what each line costs on the board and \
the total so far; the ruler above shows the board's program memory. What the board held before a \
load is always kept: nothing is overwritten unsaved. <words> opens a line of words at the bottom; \
press the marked letter of a word to do it. <every-action> finds every action by any word for it, \
such as upload or stop, and names the command for what only the command line does. Below, press \
<words> before a single letter; find what has neither key nor letter with <every-action>.

In the listing Ctrl+Z undoes the last change, Ctrl+Y redoes it; Ctrl+X cuts what is selected, or \
the line, Ctrl+C copies it, Ctrl+V pastes.

In the ruler █ is the line at the cursor. After the cost of a line ─ means that it was sent, and ━ \
that it was also read back: the board holds the line as shown.
"""


def _actions() -> Any:
    """Return the palette's provider, imported when the palette is first opened."""
    from hostlink.app.screens.palette import Actions

    return Actions


BOX = """\
A box is open in front. Tab moves between its answers, Enter chooses one, Escape closes the box or \
stops the job that it shows. The keys below work once it is closed.
"""


class DeskApp(App[None]):
    """The app: one archive, one desk, and the attached boards."""

    TITLE = "hostlink"
    CSS_PATH = Path(__file__).with_name("look.tcss")
    COMMANDS: ClassVar[set[Any]] = {_actions}
    ENABLE_COMMAND_PALETTE = False  # ours has its own words; see action_every_action
    BINDINGS: ClassVar[list[BindingType]] = [action.binding for action in EVERYWHERE]

    def __init__(
        self,
        archive: Archive | Callable[[], Archive],
        *,
        port: str = "",
        profile: str = "",
        baud: int = 0,
        opens: str = "",
        settings_file: Path | None = None,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        """Create the app.

        archive: an open archive, or a function that opens it after the first drawing. port,
        profile, baud: the board to attach at the start; "" and 0 for the settings' values. opens:
        names the listing to open in the editor. now: returns the time of day.
        """
        super().__init__(ansi_color=None)
        self.settings_file = settings_file or settings_path()
        self.settings: Settings = read_settings(self.settings_file)
        use_keys(self.settings.usable_keys)
        self._archive = archive
        self.archive: Archive
        self.failed: HostlinkError | None = None
        self.begun = False  # the archive and the profile come after the first drawing
        self.baud = baud
        self.now = now
        self.first_port = port or self.settings.port
        self.first_profile = profile or self.settings.profile
        self.opens = opens
        self._desk: Desk
        self.boards = AttachedBoards(self)
        self.said: list[str] = []
        self.gate = KeyGate(self, self._deliver)
        self._register_themes()
        self._plain = NoColor()
        self._filters.append(self._plain)
        self._plain.enabled = self.theme == MONOCHROME

    def _register_themes(self) -> None:
        """Register this app's themes and no others, and use the one in the settings."""
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = self._theme_here(self.settings.theme)
        for name in set(self.available_themes) - {theme.name for theme in THEMES}:
            self.unregister_theme(name)

    async def on_event(self, event: Event) -> None:
        """Pass keys and pastes to the `KeyGate`; Escape and a key in one read count as two."""
        if event.is_forwarded or not isinstance(event, Key | Paste):
            await super().on_event(event)
            return
        for each in separated(event) if isinstance(event, Key) else (event,):
            await self.gate.take(each)

    async def _deliver(self, event: Key | Paste) -> None:
        """Handle a key, but type no letter that may have been pressed together with Alt."""
        if isinstance(event, KeyAfterEscape):
            letter = event.character or ""
            if letter.isalpha() and isinstance(self.focused, TextArea | Input):  # not a digit
                self.tell(f"Escape and {letter} came as one key; {letter} was not typed.")
                return
            event = Key(event.key, event.character)
        await super().on_event(event)

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Return our own colours, so that the stylesheet is valid with any theme."""
        return dict(THEMES[1].variables)

    def push_screen(self, screen: Screen[Any] | str, *given: Any, **named: Any) -> Any:
        """Open a screen; one that the user did not ask for may have to wait, see `Questions`."""
        show = partial(super().push_screen, screen, *given, **named)
        return self.desk.questions.open(screen, show) if self.begun else show()

    def pop_screen(self) -> AwaitComplete:
        """Close the front screen and its notifications."""
        self.clear_notifications()
        return super().pop_screen()

    def get_driver_class(self) -> type[Driver]:
        """Return Textual's driver, changed so that a vanished terminal does not block it."""
        return lasting(super().get_driver_class())

    def get_default_screen(self) -> Screen[Any]:
        from hostlink.app.desk.desk import Desk

        self._desk = Desk()
        # Set here, they count in the first computation of styles and need no second one.
        self._desk.add_class(*size_classes(self.size), update=False)
        return self._desk

    def refresh_css(self, animate: bool = True) -> None:
        """Compute all styles again, unless the first screen is not there yet."""
        if self.screen_stack:
            super().refresh_css(animate)
        else:
            self.stylesheet.set_variables(self.get_css_variables())

    def read_screens_look(self) -> None:
        """Read the styles of the other screens, which the first drawing does not need."""
        self.stylesheet.read(Path(__file__).with_name("screens.tcss"))
        self.refresh_css(animate=False)

    def on_mount(self) -> None:
        separate_escapes()
        self.set_keymap(self.settings.usable_keys)
        self.set_interval(LOOK_AROUND_S, self.drain)

    def open_archive(self) -> bool:
        """Open the archive, return whether that worked; if not, end the app and set `failed`."""
        try:
            self.archive = self._archive() if callable(self._archive) else self._archive
        except HostlinkError as error:
            self.failed = error
            self.exit(return_code=1)
            return False
        return True

    @property
    def desk(self) -> Desk:
        """Return the main screen, which can still be read after the app has ended."""
        return self._desk

    def tell(
        self, sentence: str, *, of_text: bool = False, board: AttachedBoard | None = None
    ) -> None:
        """Show a message in the last line of the desk until its subject changes.

        of_text: it is about the text in the editor. board: the board it is about.
        """
        self.said.append(sentence)
        del self.said[:-100]
        self.desk.last_line.tell(sentence, of_text=of_text, board=board)

    def show_error(self, error: BaseException) -> None:
        """Show an error: what happened, what was not lost, what to do."""
        from hostlink.app.screens.dialogues import ErrorDialogue

        shown = shown_error(error)
        self.said.append(shown.what)
        self.push_screen(ErrorDialogue(shown))

    def attempt(self, work: Callable[[], Any]) -> Any:
        """Call `work` and return its result; show a HostlinkError and return None."""
        try:
            return work()
        except HostlinkError as error:
            self.show_error(error)
            return None

    def use_theme(self, name: str) -> None:
        """Change the theme, one of NAMES, and remember it; under NO_COLOR it stays monochrome."""
        if self.no_color and name != MONOCHROME:
            self.tell("NO_COLOR is set, so the theme stays monochrome.")
            return
        self.theme = self._theme_here(name)
        self._plain.enabled = self.theme == MONOCHROME
        self.keep_settings(theme=name)

    def _theme_here(self, name: str) -> str:
        """Return the variant of a theme for this terminal's colours."""
        return MONOCHROME if self.no_color else variant(name, self.console.color_system)

    def keep_settings(self, **changes: Any) -> None:
        """Change settings by name, use them at once and write them to the settings file."""
        self.settings = dataclasses.replace(self.settings, **changes)
        self.attempt(lambda: change_settings(self.settings_file, **changes))

    def drain(self) -> None:
        """Process the reports of the owner threads."""
        self.boards.drain()
        if self.begun:
            self.desk.drain()

    def watch_job(
        self,
        job: Job[Any],
        *,
        done: Done,
        failed: Failed | None = None,
        then: Callable[[Any], None] | None = None,
        follow: Callable[[Job[Any]], object] | None = None,
    ) -> None:
        """Show a job's progress, then its result or its error.

        It is shown on the desk if it was begun there, else in a view of its own, or by `follow`.
        done: takes the result; returns the sentence to show, or None. failed: takes the error;
        returns what to do instead of showing it, or None. then: takes the result once the view is
        closed, which stays open if there is something to read.
        """
        JobShowing(self, job, done, failed, then, follow).begin()

    def action_work(self, name: str) -> None:
        """Run an action of every screen. name: the `id` of one of EVERYWHERE."""
        BY_ID[name].work(self.desk)

    def action_every_action(self) -> None:
        from textual.command import CommandPalette

        if self.screen.has_class("dialogue"):
            self.notify(
                "Answer or close this box first; then "
                f"{way_to('every-action')} finds every action.",
                markup=False,
            )
        elif not isinstance(self.screen, CommandPalette):
            self.push_screen(CommandPalette(placeholder="Every action: type one of its words"))

    def action_help(self) -> None:
        """Show the keys of this screen, or of the screen behind an open box."""
        from hostlink.app.screens.palette import Help

        if isinstance(self.screen, Help):
            return
        of = next(one for one in reversed(self.screen_stack) if not one.has_class("dialogue"))
        box = BOX if of is not self.screen else ""
        about = with_keys(ABOUT) if of is self.desk else ""
        self.push_screen(Help(of, "\n".join(filter(None, (box, about)))))

    def action_leave(self) -> None:
        """Leave the app; ask first if there is unkept text or an unfinished job."""
        from hostlink.app.screens.dialogues import Ask

        reasons: Sequence[str] = self.desk.would_be_lost()
        if not reasons:
            self.shut()
            return

        def answered(answer: str | None) -> None:
            if answer == "leave":
                self.shut()

        self.push_screen(
            Ask(" ".join(reasons), [("stay", "Stay"), ("leave", "Leave anyway")]), answered
        )

    def shut(self) -> None:
        """Close every port, then the app."""
        self.desk.drafts.end()
        self.boards.close()
        self.exit()
