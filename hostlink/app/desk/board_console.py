"""Typing to the current board: lines, running, interrupting, restarting."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from textual.widgets import Input

from hostlink.app.console import ConsolePane
from hostlink.app.desk.part import DeskPart
from hostlink.app.texts import KnownContents

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.desk.desk import Desk
    from hostlink.jobs.console import Console
    from hostlink.jobs.session.restarting import Restarted


class BoardConsole(DeskPart):
    """The actions of the desk that type to the board."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._partial = ""

    def show(self, attached: AttachedBoard) -> None:
        """Move what the board has sent into the transcript."""
        rows = []
        while attached.rows:
            rows.append(attached.rows.popleft())
        if rows or attached.partial != self._partial:
            self._partial = attached.partial
            self.desk.query_one(ConsolePane).show(rows, attached.partial)
        for text, ours in rows:
            if ours:
                self.app.tell(text)

    def type_line(self, line: str) -> None:
        """Type one line to the board; a refused line stays in the input to be corrected."""
        attached = self.desk.readings.need()
        if attached is None:
            return

        def work(board: Console) -> None:
            board.enter(line)
            attached.rows.append((f"{attached.partial}{line}", False))

        def failed(_: BaseException) -> None:
            self.desk.query_one("#console-line", Input).value = line

        job = attached.talk(f"Typing {line}", work)
        self.app.watch_job(job, done=lambda _: self._typed(attached, line), failed=failed)

    def _typed(self, attached: AttachedBoard, line: str) -> str:
        """Update what is known of the board's memory after a line was typed."""
        from hostlink.jobs.pasting import may_overwrite
        from hostlink.listing import Line

        held = self.desk.states.held(attached.port)
        if may_overwrite(line, attached.choice.profile):
            attached.read_at = None  # read as soon as it is at its prompt again
            self.desk.readings.unknown_now(attached)
        elif held.known and Line.from_text(line).number is not None:
            typed = max(1, held.lines)
            changed = dataclasses.replace(held, lines=typed, changed=True, proven_at=None)
            self.desk.states.note(attached.port, changed)
            self.desk.readings.show()
        return ""

    def run(self) -> None:
        """Run the program on the current board; its output comes to the console."""
        attached = self.desk.readings.need()
        if attached is None:
            return
        command = attached.choice.profile.commands.run
        if not command:
            self.app.tell("Boards of this kind cannot run a program by command.")
            return
        self.desk.show_band("console")
        self.desk.query_one("#console-line", Input).focus()
        held = self.desk.states.held(attached.port)
        if held.known and not held.lines:
            self.app.tell("The board was last seen without a program; Ctrl+L loads the listing.")
        self.type_line(command)

    def interrupt(self) -> None:
        """Stop the job on the current board or, without one, interrupt its program."""
        if self.desk.progress.stop():
            return
        attached = self.desk.readings.need()
        if attached is not None:
            job = attached.talk("Interrupting the program", lambda board: board.interrupt())
            self.app.watch_job(job, done=lambda _: "The interrupt was sent.")

    def restart(self) -> None:
        """Restart the current board after consent; its program is kept first."""
        from hostlink.app.screens.dialogues import Ask
        from hostlink.jobs.events import MemoryLost
        from hostlink.jobs.session.restarting import restart

        attached = self.desk.readings.need()
        if attached is None:
            return

        def done(restarted: Restarted) -> str:
            limit = attached.choice.profile.rules.storage.program_bytes
            self.desk.readings.note(
                attached, KnownContents(restarted.at_prompt, "", restarted.lines, 0, limit)
            )
            if restarted.held.spec and not restarted.lines:
                self.desk.states.lose(
                    attached.port, MemoryLost("It was restarted.", restarted.held.spec)
                )
            return "The board was restarted."

        def answered(answer: str | None) -> None:
            if answer != "restart":
                return
            job = attached.do(
                f"Restarting {self.desk.readings.name_of(attached)}",
                lambda session, archive: restart(session, archive, consent=lambda _: True),
            )
            self.app.watch_job(job, done=done)

        self.app.push_screen(
            Ask(
                f"Restart {self.desk.readings.name_of(attached)}? What its memory holds is lost.",
                [("leave", "Leave it"), ("restart", "Keep its program, then restart")],
                why="The program is captured and kept in the archive before.",
            ),
            answered,
        )
