"""Reading what the attached boards hold, and showing the current one's state."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from hostlink.app.actions.table import way_to, with_keys
from hostlink.app.board_words import KnownContents, board_sentence, held_words, revision_words
from hostlink.app.console import ConsolePane
from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import NO_BOARD, SHOWS_BOARDS
from hostlink.app.ways import shown_error
from hostlink.app.widgets.ruler import BoardTrack
from hostlink.errors import RefusedError
from hostlink.sentences import EMPTIED, last_known
from hostlink.words import capital, plural, safe

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.jobs.session.board_contents import BoardContents

NO_BOARD_WORDS = (
    f"{NO_BOARD} <boards> {SHOWS_BOARDS}",
    "No board; <boards> shows all",
)


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
            return self._practice_name(attached)
        return f"the board at {attached.port}"

    def _practice_name(self, attached: AttachedBoard) -> str:
        """Describe a practice board by its kind, and by its own name where several are attached."""
        from hostlink.board.port.ports import identity_of
        from hostlink.link.opening import is_practice_kind

        kind = attached.choice.profile.name
        is_plain = kind == "practice" or not is_practice_kind(kind)
        words = "the practice board" if is_plain else f"the {kind} practice board"
        if sum(port.startswith("practice:") for port in self.app.boards.by_port) > 1:
            words += f" {identity_of(attached.port).serial.partition(':')[2]}"
        return words

    def show(self) -> None:
        """Show the current board's state and review the listing for it."""
        self.show_board()
        self.desk.progress.check_marks()
        self.sheets.check()

    def show_board(self) -> None:
        """Show what the current board holds, or what it does."""
        current = self.app.boards.current
        room = self.desk.size.width - 3  # the margins, and a full stop
        track = BoardTrack(held_words(None))
        if current is None:
            long, brief = map(with_keys, NO_BOARD_WORDS)
            sentence = long if len(long) <= room else brief
        else:
            others = len(self.app.boards.by_port) - 1
            more = f"({plural(others, 'other board')} attached)" if others else ""
            sentence = board_sentence(
                safe(self.name_of(current)),
                self.desk.states.held(current.port),
                current.state,
                away=current.port if current.vanished else "",
                doing=current.doing,
                more=more,
                width=room,
            )
            width = current.choice.profile.rules.form.screen_width
            if self.desk.query_one(ConsolePane).show_board(current.port, width):
                self.desk.plotting.renew()
            track = self.desk.progress.track_of(current) or self._track_of(current)
        self.desk.query_one("#board", Static).update(Content(safe(sentence) + "."))
        self.desk.ruler.show_board(track)

    def _track_of(self, attached: AttachedBoard) -> BoardTrack:
        if attached.doing:
            return BoardTrack("busy")
        held = self.desk.states.held(attached.port)
        return BoardTrack(held_words(held), held.size if held.known else 0)

    def need(self) -> AttachedBoard | None:
        """Return the current board; show an error and return None if there is none."""
        if self.app.boards.current is None:
            self.app.show_error(
                RefusedError(
                    NO_BOARD,
                    kept="Nothing was sent.",
                    advice=f"{way_to('boards')} {SHOWS_BOARDS} and one for practice.",
                )
            )
        return self.app.boards.current

    def note(self, attached: AttachedBoard, held: KnownContents) -> None:
        """Record what a board holds, as read or proven."""
        self.desk.states.note(attached.port, held)
        self.desk.progress.check_news()
        attached.read_at = self.app.now()
        self.show()

    def is_in_editor(self, attached: AttachedBoard) -> bool:
        """Return whether the editor holds the program that is on a board, as far as is known."""
        held = self.desk.states.held(attached.port)
        name = held.spec.rpartition("@")[0]
        return bool(name) and name == self.sheets.sheet.name and not held.changed

    def unknown_now(self, attached: AttachedBoard) -> None:
        """Record that it is not known what a board holds; it is read once it is at its prompt."""
        self.desk.states.forget(attached.port)
        attached.read_at = None
        self.show()

    # --- looking -----------------------------------------------------------------------------

    def look_again(self, attached: AttachedBoard | None = None, *, quietly: bool = False) -> None:
        """Read what a board holds, by default the current one.

        quietly: say nothing if all is well, and report an error only in the last line.
        """
        from hostlink.jobs.session.board_contents import read_contents

        board = attached or self.app.boards.current
        if board is None:
            return
        board.read_at = self.app.now()
        then = "" if quietly else "look"
        job = board.do("Looking at the board", read_contents, shown=False, then=then)

        def done(looked: BoardContents) -> str | None:
            self.note_reading(board, looked)
            return None if quietly else self._look_words(board, looked)

        def failed(error: BaseException) -> Callable[[], object] | None:
            if quietly:
                words = shown_error(error).words()
                said = f"{capital(self.name_of(board))}: {words}"
                return partial(self.app.tell, said, board=board)
            self.give_up_closed(board)
            return None

        self.app.watch_job(job, done=done, failed=failed)

    def note_reading(self, attached: AttachedBoard, looked: BoardContents) -> None:
        """Record what a reading found; have a program that the board has lost offered again."""
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
            self.desk.states.lose(attached.port, MemoryLost(f"{capital(EMPTIED)}.", looked.lost))

    def _look_words(self, attached: AttachedBoard, looked: BoardContents) -> str:
        name = capital(self.name_of(attached))
        if looked.lost:
            return f"{name} is empty; {last_known(revision_words(looked.lost))}."
        if self.app.archive.read_only:
            return f"{name} is attached; the archive is read-only, so programs can only be run."
        if not self.sheets.editor.text.strip():
            return f"{name} is attached."
        return f"{name} is attached; {way_to('load')} loads the listing into it."

    def give_up_closed(self, attached: AttachedBoard) -> None:
        """Detach a board if its port could not be opened or was given up."""
        if attached.failure is not None:
            self.app.boards.detach(attached.port)

    def look(self) -> None:
        """Read what the current board holds, and say what it is."""
        if self.need() is not None:
            self.look_again()
