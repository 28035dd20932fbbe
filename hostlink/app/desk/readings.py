"""Reading what the attached boards hold, and showing the current one's state."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from hostlink.app.console import Transcript
from hostlink.app.desk.actions import way_to
from hostlink.app.desk.part import DeskPart
from hostlink.app.texts import KnownContents, board_sentence
from hostlink.app.ways import shown_error
from hostlink.errors import LinkError, LinkReason, RefusedError
from hostlink.words import capital, plural, safe

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.archive import Archive
    from hostlink.jobs.session.board_contents import BoardContents
    from hostlink.jobs.session.session import Session

NO_BOARD = f"No board is attached. {way_to('boards')} shows the boards that are here"


class Readings(DeskPart):
    """Reads what boards hold, remembers it and shows it."""

    def name_of(self, attached: AttachedBoard) -> str:
        """Return the label of a board, or a description if it has none."""
        from hostlink.board.port.ports import identity_of
        from hostlink.jobs.session.last_known import known_board

        board = known_board(self.app.archive, identity_of(attached.port))
        if board is not None and board.label:
            return board.label
        if attached.port.startswith("practice:"):
            return "the practice board"
        return f"the board at {attached.port}"

    def show(self) -> None:
        """Show the current board's state and review the listing for it."""
        current = self.app.boards.current
        sentence = NO_BOARD
        if current is not None:
            held = self.desk.states.held(current.port)
            sentence = board_sentence(self.name_of(current), held, away=current.vanished)
            others = len(self.app.boards.by_port) - 1
            if others:
                sentence += f" ({plural(others, 'other board')} attached)"
            width = current.choice.profile.rules.form.screen_width
            self.desk.query_one(Transcript).board_width = width
        self.desk.query_one("#board", Static).update(Content(safe(sentence) + "."))
        self.sheets.check()

    def need(self) -> AttachedBoard | None:
        """Return the current board; show an error and return None if there is none."""
        if self.app.boards.current is None:
            self.app.show_error(
                RefusedError(
                    "No board is attached.",
                    kept="Nothing was sent.",
                    advice=f"{way_to('boards')} shows the boards that are here; the practice board "
                    "always is.",
                )
            )
        return self.app.boards.current

    def note(self, attached: AttachedBoard, held: KnownContents) -> None:
        """Record what a board holds, as read or proven."""
        self.desk.states.note(attached.port, held)
        attached.read_at = self.app.now()
        self.show()

    def unknown_now(self, attached: AttachedBoard) -> None:
        """Record that it is not known what a board holds, until it is read again."""
        self.desk.states.forget(attached.port)
        self.show()

    # --- looking -----------------------------------------------------------------------------

    def look_again(self, attached: AttachedBoard | None = None, *, quietly: bool = False) -> None:
        """Read what a board, by default the current one, holds; without a view of its own.

        quietly: nothing is said where all is well, and an error only in the last line.
        """
        from hostlink.jobs.session.board_contents import read_contents

        board = attached or self.app.boards.current
        if board is None:
            return
        board.read_at = self.app.now()
        job = board.do("Looking at the board", read_contents, shown=False)

        def done(looked: BoardContents) -> str | None:
            self.took_look(board, looked)
            return None if quietly else self._look_words(board, looked)

        def failed(error: BaseException) -> Callable[[], object] | None:
            if quietly:
                words = shown_error(error).words()
                return partial(self.app.tell, f"{capital(self.name_of(board))}: {words}")
            return self._look_failed(board, error)

        self.app.watch_job(job, done=done, failed=failed)

    def took_look(self, attached: AttachedBoard, looked: BoardContents) -> None:
        """Record what a look found, and offer a program that the board has lost."""
        from hostlink.jobs.events import MemoryLost

        size = (looked.content.size_bytes or 0) if looked.content is not None else 0
        self.note(
            attached,
            KnownContents(
                True,
                looked.spec,
                looked.lines,
                size,
                looked.limit,
                looked.changed,
                looked.proven_at,
            ),
        )
        if looked.lost:
            self.desk.states.lose(
                attached.port,
                MemoryLost(
                    "It restarted or lost its supply since, or was cleared at its keyboard.",
                    looked.lost,
                ),
            )

    def _look_words(self, attached: AttachedBoard, looked: BoardContents) -> str:
        name = capital(self.name_of(attached))
        if looked.lost:
            return f"{name} is empty; its last known program is kept as {looked.lost}."
        return f"{name} is attached; Ctrl+L loads the listing into it."

    def _look_failed(
        self, attached: AttachedBoard, error: BaseException
    ) -> Callable[[], object] | None:
        """Offer to stop a running program; detach a board whose port cannot be opened."""
        if isinstance(error, LinkError) and error.reason is LinkReason.RUNNING:
            return partial(self.ask_to_stop, attached, error)
        if attached.failure is not None:
            self.app.boards.by_port.pop(attached.port, None)
            if self.app.boards.current is attached:
                self.app.boards.current = None
            self.show()
        return None

    def ask_to_stop(self, attached: AttachedBoard, error: LinkError) -> None:
        """Ask whether the program that runs may be stopped, then read the board."""
        from hostlink.app.screens.dialogues import Ask
        from hostlink.jobs.session.board_contents import read_contents

        def answered(answer: str | None) -> None:
            if answer != "stop":
                return

            def consent(session: Session, archive: Archive) -> BoardContents:
                with session.may_stop():
                    return read_contents(session, archive)

            def done(looked: BoardContents) -> str:
                self.took_look(attached, looked)
                return "The program was stopped."

            job = attached.do("Stopping the program", consent, shown=False)
            self.app.watch_job(job, done=done)

        self.app.push_screen(
            Ask(
                error.what,
                [("leave", "Leave it running"), ("stop", "Stop it")],
                why="It was left as it is. Stopping may lose its variables; the program stays.",
            ),
            answered,
        )

    def look(self) -> None:
        """Read what the current board holds, and say it."""
        if self.need() is not None:
            self.look_again()
