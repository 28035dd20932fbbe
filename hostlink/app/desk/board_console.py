"""Typing to the current board: lines, running, interrupting, restarting."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from textual.widgets import Input

from hostlink.app.actions.table import way_back, way_to
from hostlink.app.board_words import KnownContents, revision_words
from hostlink.app.console import ConsolePane
from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import NOTHING_WRONG, PROGRAM_ENDED
from hostlink.errors import LinkError, NotKnownError, ReadBackError
from hostlink.sentences import MEMORY_IS_LOST, RESTARTED, ends_in_error, last_known, proven
from hostlink.words import capital, plural

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.desk.desk import Desk
    from hostlink.app.job import Job
    from hostlink.jobs.console import Console
    from hostlink.jobs.events import ProgramFailed
    from hostlink.jobs.pasting import Pasted
    from hostlink.jobs.session.restarting import Restarted


_MOST_AT_ONCE = 500  # rows; more than any wire brings between two drawings
_MOST_REMARKS = 12  # on one paste


def _enter(attached: AttachedBoard, line: str, board: Console) -> bool:
    """Type a line to a board and show it in the transcript; see Console.enter."""
    row = board.partial
    is_command = board.enter(line)
    attached.rows.append((f"{row}{line}", False))
    return is_command


def _next_words(desk: Desk, attached: AttachedBoard, ended: str) -> str:
    """Return what to say after a program on a board has ended, and what to do next.

    ended: what the console already said about the end, "" for nothing.
    """
    held = desk.states.held(attached.port)
    words, then, way = ended or f"{PROGRAM_ENDED}.", "change it ({}), then load it", "load"
    if held.known and not held.lines:
        words, then = "The board was last seen without a program.", "load one"
    elif not desk.readings.is_in_editor(attached):
        then, way = "save it from the board, to change it", "save"
    if desk.app.archive.read_only:  # then neither a load nor a save is kept
        return words
    return f"{words} Next: {then.format(way_back())} ({way_to(way)})."


class BoardConsole(DeskPart):
    """The actions of the desk that type to the board."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._shown: object = None
        self._runs: AttachedBoard | None = None  # the board of a run whose end was not told yet
        self._ended = ""  # how it ended, if more was said than the board's prompt

    def show(self, attached: AttachedBoard) -> None:
        """Move what the board has sent into the transcript."""
        rows = list[tuple[str, bool]]()
        while attached.rows and len(rows) < _MOST_AT_ONCE:
            rows.append(attached.rows.popleft())
        if attached.rows:
            attached.on_news()
        now = (attached, attached.partial, attached.state, attached.doing)
        if rows or now != self._shown:
            self._shown = now
            console = self.desk.query_one(ConsolePane)
            console.show(rows, attached.partial, prints=attached.state.prints)
            self.desk.plotting.take(rows)
            self.desk.readings.show_board()
        for text, ours in rows:
            if ours:
                self._ended = text
                self.app.tell(text)
        while attached.faults:
            self._show_fault(attached, attached.faults.popleft())
        if self._runs is attached and attached.at_prompt and not attached.jobs:
            self._runs = None
            self.app.tell(_next_words(self.desk, attached, self._ended), of_text=True)

    def _show_fault(self, attached: AttachedBoard, fault: ProgramFailed) -> None:
        """Report the error that ended a program; mark its line if the editor holds the program.

        In a program that was typed or changed at the board, that number may be another line.
        """
        self._ended = f"{ends_in_error('It', fault.number, fault.message)}."
        self.app.tell(self._ended)
        if self.desk.readings.is_in_editor(attached):
            self._mark(fault)

    def _mark(self, fault: ProgramFailed) -> None:
        from hostlink.listing import Listing

        editor = self.sheets.editor
        line = Listing.from_text(editor.text).numbered().get(fault.number)
        if line is not None:
            editor.fault = (editor.document.get_line(line.at - 1), fault.message)
            if not editor.has_focus:
                editor.move_cursor((line.at - 1, 0))

    def type_line(self, line: str) -> None:
        """Type one line to the board; a refused line stays in the input to be corrected."""
        box = self.desk.query_one("#console-line", Input)

        def put_back() -> None:
            box.value = line
            box.cursor_position = len(line)

        attached = self.desk.readings.need()
        if attached is None:
            put_back()
            return

        def failed(_: BaseException) -> None:
            if box.value or attached is not self.app.boards.current:  # typed or chosen meanwhile
                attached.rows.append((f"Not taken: {line}", True))
            else:
                put_back()

        job = attached.talk(f"Typing {line}", partial(_enter, attached, line))
        self._watch(attached, job, line, failed)

    def _watch(
        self,
        attached: AttachedBoard,
        job: Job[bool],
        line: str,
        failed: Callable[[BaseException], None] | None = None,
    ) -> None:
        from hostlink.jobs.pasting import may_run

        def done(is_command: bool) -> str:
            if is_command:
                if may_run(line, attached.choice.profile):
                    self.sheets.editor.fault = None
                    self._runs, self._ended = attached, ""
                    self.desk.plotting.begin(line)
                self._typed(attached, line)
            return ""  # removes the message of an earlier job

        self.desk.progress.clear_news()
        self.app.watch_job(job, done=done, failed=failed)

    def _typed(self, attached: AttachedBoard, line: str) -> None:
        """Update what is known of the board's memory after a command was typed."""
        from hostlink.jobs.pasting import may_overwrite
        from hostlink.listing import Line

        held = self.desk.states.held(attached.port)
        if may_overwrite(line, attached.choice.profile):
            self.desk.readings.unknown_now(attached)
        elif held.known and Line.from_text(line).number is not None:
            typed = max(1, held.lines)
            changed = dataclasses.replace(held, lines=typed, changed=True, proven_at=None)
            self.desk.states.note(attached.port, changed)
            self.desk.readings.show()

    def paste(self, text: str) -> None:
        """Show the repairs to a paste and its review, and send it whole with consent."""
        from hostlink.app.screens.dialogues import ask
        from hostlink.jobs.pasting import look_at

        attached = self.desk.readings.need()
        if attached is None:
            return
        pasted = look_at(text, attached.choice.profile)
        remarks = [*pasted.mended, *pasted.remarks]
        more = len(remarks) - _MOST_REMARKS
        rows = remarks[:_MOST_REMARKS] + [f"And {more:,} more."] * (more > 0)

        lines = plural(pasted.count, "line")
        ask(
            self.app,
            f"Send {lines} to {self.desk.readings.name_of(attached)}"
            f"{' and prove the program' * pasted.has_program_lines}?",
            ("send", f"Send {lines}", lambda: self._send(attached, pasted)),
            why="\n".join(rows) or NOTHING_WRONG,
        )

    def _send(self, attached: AttachedBoard, pasted: Pasted) -> None:
        """Send a paste after consent; the program on the board is kept first."""

        def done(_: None) -> str:
            self.desk.readings.unknown_now(attached)
            if not pasted.has_program_lines:
                lines = plural(pasted.count, "line")
                return f"{lines} sent; the console shows the answers."
            return f"{proven('The paste')}. Next: run it ({way_to('run')})."

        def failed(_: BaseException) -> None:
            self.desk.readings.unknown_now(attached)

        job = attached.talk_at_prompt(
            f"Sending {plural(pasted.count, 'line')}",
            lambda board: board.send(pasted),
            then="send",
            shown=True,
            doing=f"is being sent {plural(pasted.count, 'line')}",
        )
        self.app.watch_job(job, done=done, failed=failed)

    def run(self) -> None:
        """Run the program on the current board; its output appears in the console."""
        attached = self.desk.readings.need()
        if attached is None:
            return
        command = attached.choice.profile.commands.run
        if not command:
            self.app.tell("Boards of this kind have no command that runs a program.")
            return
        self.desk.show_band("console")
        self.desk.query_one("#console-line", Input).focus()
        job = attached.talk_at_prompt(
            "Running the program", partial(_enter, attached, command), then="run"
        )
        self._watch(attached, job, command)

    def interrupt(self) -> None:
        """Stop the job on the current board or, without one, interrupt its program."""
        attached = self.desk.readings.need()
        if attached is not None and attached.busy is not None and attached.busy.shown:
            self.desk.progress.stop_job(attached.busy)
        elif attached is not None:
            job = attached.talk("Interrupting the program", lambda board: board.interrupt())
            self.app.watch_job(job, done=lambda _: None)  # the console shows the result

    def restart(self) -> None:
        """Restart the current board after consent; its program is kept first if it can be read."""
        from hostlink.app.screens.dialogues import ask
        from hostlink.jobs.session.activity import Activity

        attached = self.desk.readings.need()
        if attached is None:
            return
        name = self.desk.readings.name_of(attached)
        question = f"Restart {name}? {capital(MEMORY_IS_LOST)}."
        if attached.state.activity is Activity.FULL:
            self._ask_to_discard(attached, question, "Its memory is full, so it cannot list.")
            return
        ask(
            self.app,
            question,
            ("restart", "Keep its program, then restart", partial(self._restart, attached)),
            why="The program is first captured and kept in the archive.",
        )

    def _ask_to_discard(self, attached: AttachedBoard, question: str, why: str) -> None:
        """Ask whether to restart a board whose program cannot be kept first."""
        from hostlink.app.screens.dialogues import ask
        from hostlink.board.port.ports import identity_of
        from hostlink.jobs.session.last_known import known_board, last_program

        archive = self.app.archive
        board = known_board(archive, identity_of(attached.port))
        spec = last_program(archive, board) if board is not None else ""
        has = f"{capital(last_known(revision_words(spec)))}."
        ask(
            self.app,
            question,
            ("discard", "Restart without keeping", partial(self._restart, attached, discard=True)),
            why=f"{why} {has if spec else 'No program of this board is in the archive.'}".strip(),
        )

    def _restart(self, attached: AttachedBoard, *, discard: bool = False) -> None:
        """Restart a board. discard: do not capture and keep its program first."""
        from hostlink.jobs.events import MemoryLost
        from hostlink.jobs.session.restarting import RESTARTING, restart

        def done(restarted: Restarted) -> str:
            limit = attached.choice.profile.rules.storage.room
            self.desk.readings.note(
                attached, KnownContents(restarted.at_prompt, "", restarted.lines, 0, limit)
            )
            if restarted.held.spec and not restarted.lines:
                self.desk.states.lose(
                    attached.port, MemoryLost("It was restarted.", restarted.held.spec)
                )
            return RESTARTED

        def failed(error: BaseException) -> Callable[[], object] | None:
            is_restarted = any(text.startswith(RESTARTING) for text, _ in job.progress.told)
            if discard or is_restarted or attached.vanished:
                return None
            if not isinstance(error, LinkError | ReadBackError | NotKnownError):
                return None
            question = f"{error.what} Restart it anyway? {capital(MEMORY_IS_LOST)}."
            return partial(self._ask_to_discard, attached, question, error.kept)

        job = attached.do(
            f"Restarting {self.desk.readings.name_of(attached)}",
            lambda session, archive: restart(
                session, archive, consent=lambda _: True, discard_board=discard
            ),
            then="restart",
            doing="is being restarted",
        )
        self.app.watch_job(job, done=done, failed=failed)
