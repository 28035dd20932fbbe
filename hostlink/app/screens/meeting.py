"""Meeting a board: how far it answers, from its USB bridge to its program."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.screens.dialogues import ask
from hostlink.app.sentences import LEAVE_IT
from hostlink.app.ways import KEYS
from hostlink.app.widgets.page import Page
from hostlink.jobs.meeting.ladder import Climb
from hostlink.jobs.meeting.meeting import RESTART_TO_HEAR, look_here, meet_board
from hostlink.jobs.meeting.rungs import COMPUTER_RUNGS, climb
from hostlink.jobs.meeting.seen import Restart, Seen
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.attached_board import AttachedBoard


def show_meeting(app: DeskApp, port: str) -> None:
    """Meet the board at a port, attaching it first if need be. port: "" for the only one here."""
    attached = app.boards.by_port.get(port)
    seen = look_here(app.archive, port)
    if attached is not None:
        _meet(app, attached, seen)
        return
    climbed = climb(seen, COMPUTER_RUNGS)
    if climbed.broken is not None:
        app.push_screen(MeetingScreen(climbed))
        return
    app.boards.attach(seen.port, lambda board: _meet(app, board, seen))


def _meet(app: DeskApp, attached: AttachedBoard, seen: Seen, *, restart: bool = False) -> None:
    """Meet an attached board. restart: the user agreed to a restart."""
    job = attached.do(
        f"Finding out how far {app.desk.readings.name_of(attached)} answers",
        lambda session, archive: meet_board(session, archive, seen, lambda _: restart),
    )

    def done(found: Seen) -> str:
        if found.restart is Restart.DONE:
            app.desk.readings.unknown_now(attached)
        return ""

    def then(found: Seen) -> None:
        go_on = None
        if found.restart is Restart.DECLINED:
            go_on = lambda: _meet(app, attached, found, restart=True)  # noqa: E731
        app.push_screen(MeetingScreen(climb(found), go_on))

    app.watch_job(job, done=done, then=then)


class MeetingScreen(Page[None]):
    """Shows each step with what was seen, and at the end the one thing to do."""

    HEAD = "How far the board answers"
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("meeting.restart", "Restart it and ask again", "Asks first"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, climbed: Climb, go_on: Callable[[], None] | None = None) -> None:
        """Create the screen. go_on: meets the board again, with a restart; None if useless."""
        super().__init__()
        self.text = "\n".join(climbed.rows(KEYS))
        self.go_on = go_on

    def body(self) -> Iterator[Widget]:
        """Lay out the steps, and the last sentence below them."""
        with VerticalScroll():
            text = Content(safe(self.text, keep="\n"))
            yield Static(text, classes="words", id="steps", markup=False)

    def foot(self) -> str:
        """Return what the keys do; a restart is offered only where it would tell more."""
        restart = "R asks first, then restarts the board and asks its bootloader. "
        back = "Escape goes back"
        if way_to("words") in self.text:
            back += " to the desk; press the keys named above there"
        return f"{restart if self.go_on else ''}{back}."

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()

    def action_restart(self) -> None:
        """Ask, then meet the board with a restart."""
        go_on = self.go_on
        if go_on is None:
            return

        def restart() -> None:
            self.dismiss()
            go_on()

        answer = ("restart", "Restart it", restart)
        ask(self.app, RESTART_TO_HEAR, answer, leave=LEAVE_IT)
