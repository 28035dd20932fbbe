"""What the desk does by itself: boards that vanish, return or lose their memory, and reading again.

Rules:
1. A board is read again every few minutes (the setting `capture_minutes`), but only while it waits
   at its prompt, has no job, and no line in the console is half typed.
2. After a restart, a return, or a line that clears memory it is read once it is at its prompt. A
   board that sends bytes unasked may have restarted too, or somebody may be typing at its own
   keyboard, and nothing is sent into that: its contents count as unknown, and it is read after
   QUIET_S without a byte. The same holds for a board without a known banner whose program has
   ended, since it may have restarted.
3. A program that a board has lost is offered once, as soon as no job works on that board.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING

from textual.timer import Timer
from textual.widgets import Input

from hostlink.app.board_words import revision_words
from hostlink.app.desk.part import DeskPart
from hostlink.words import capital

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.desk.desk import Desk


QUIET_S = 3.0


class Watch(DeskPart):
    """Watches all attached boards."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._until_read: dict[str, Timer] = {}  # by port, of boards that may have restarted

    def look_around(self) -> None:
        """Process the boards' news, offer lost programs, read boards again; called by a timer."""
        for attached in list(self.app.boards.by_port.values()):
            self._take_news(attached)
            self._read_when_due(attached)
        self._offer()

    def _take_news(self, attached: AttachedBoard) -> None:
        from hostlink.app.attached_board import EndedOrRestarted, SpokeUnasked
        from hostlink.jobs.events import BoardVanished, MemoryLost

        while attached.news:
            event = attached.news.popleft()
            if isinstance(event, SpokeUnasked | EndedOrRestarted):
                if isinstance(event, SpokeUnasked):
                    self.desk.states.forget(attached.port)
                    self.desk.readings.show()
                self._read_once_quiet(attached)
                continue
            if isinstance(event, MemoryLost):
                self.desk.states.lose(attached.port, event)
            attached.vanished = isinstance(event, BoardVanished)
            self.desk.readings.unknown_now(attached)

    def _read_once_quiet(self, attached: AttachedBoard) -> None:
        """Read a board after QUIET_S without a byte, unless it has been read by then."""
        if attached.port in self._until_read:
            self._until_read[attached.port].stop()
        self._until_read[attached.port] = self.desk.set_timer(
            QUIET_S, partial(self._quiet_again, attached, attached.read_at)
        )

    def _quiet_again(self, attached: AttachedBoard, read_at: datetime | None) -> None:
        if attached.read_at == read_at:
            attached.read_at = None
            self.look_around()

    def _read_when_due(self, attached: AttachedBoard) -> None:
        if attached.busy is not None or not attached.at_prompt:
            return
        if attached.read_at is not None:
            minutes = self.app.settings.capture_minutes
            since = self.app.now() - attached.read_at
            if not minutes or since < timedelta(minutes=minutes) or self._typing(attached):
                return
        self.desk.readings.look_again(attached, quietly=True)

    def _typing(self, attached: AttachedBoard) -> bool:
        """Return whether a line in the console is partly typed."""
        line = self.desk.query_one("#console-line", Input)
        return attached is self.app.boards.current and bool(line.value)

    def _offer(self) -> None:
        """Offer to load a lost program again, unless the board is at work."""
        from hostlink.app.screens.dialogues import ask

        boards = self.app.boards.by_port
        found = self.desk.states.take_loss(
            boards, lambda port: boards[port].busy is None and not boards[port].vanished
        )
        if found is None:
            return
        attached, event = boards[found[0]], found[1]
        name, words = capital(self.desk.readings.name_of(attached)), revision_words(event.spec)
        load = partial(self.desk.transfers.load_word, attached, event.spec)
        held = self.desk.states.held
        self.desk.last_line.untell(event.text)  # the question says why
        with self.desk.questions.unasked(
            is_open=lambda: attached.port in boards and not held(attached.port).lines
        ):
            ask(
                self.app,
                f"{name} lost the program in its memory. It is kept as {words}.",
                ("reload", f"Load {words} again", load),
                leave="Leave it empty",
                why=event.text,
            )
