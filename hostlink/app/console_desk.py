"""The desk's console: lines typed to the current board, running, breaking, restarting."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from textual.widgets import Input

from hostlink.app.console import ConsolePane
from hostlink.app.texts import Held
from hostlink.app.watch_desk import WatchDesk

if TYPE_CHECKING:
    from hostlink.app.work import Attached
    from hostlink.jobs.console import Console
    from hostlink.jobs.restarting import Restarted


class ConsoleDesk(WatchDesk):
    """What the desk does by typing to the board."""

    def __init__(self) -> None:
        super().__init__()
        self._partial = ""

    def show_console(self, attached: Attached) -> None:
        """Take over what the board has sent since."""
        rows = []
        while attached.rows:
            rows.append(attached.rows.popleft())
        if rows or attached.partial != self._partial:
            self._partial = attached.partial
            self.query_one(ConsolePane).show(rows, attached.partial)
        for text, ours in rows:
            if ours:
                self.app.tell(text)

    # --- the console -------------------------------------------------------------------------

    def on_console_pane_entered(self, event: ConsolePane.Entered) -> None:
        event.stop()
        self.type_line(event.line)

    def type_line(self, line: str) -> None:
        """Type one line to the board; a refusal leaves it in the console's own line."""
        attached = self.need_board()
        if attached is None:
            return

        def work(board: Console) -> None:
            board.enter(line)
            attached.rows.append((f"{attached.partial}{line}", False))

        def failed(_: BaseException) -> None:
            self.query_one("#console-line", Input).value = line

        job = attached.talk(f"Typing {line}", work)
        self.app.watch_job(job, done=lambda _: self._typed(attached, line), failed=failed)

    def _typed(self, attached: Attached, line: str) -> str:
        """A numbered line changes what the board holds; one that clears it makes it unknown."""
        from hostlink.jobs.pasting import may_overwrite
        from hostlink.listing import Line

        held = self.held.get(attached.port, Held())
        if may_overwrite(line, attached.choice.profile):
            attached.read_at = None  # read as soon as it is at its prompt again
            self.unknown_now(attached)
        elif held.known and Line.from_text(line).number is not None:
            typed = max(1, held.lines)
            self.held[attached.port] = dataclasses.replace(
                held, lines=typed, changed=True, proven_at=None
            )
            self.board_changed()
        return ""

    def action_run(self) -> None:
        attached = self.need_board()
        if attached is None:
            return
        command = attached.choice.profile.commands.run
        if not command:
            self.app.tell("Boards of this kind cannot run a program by command.")
            return
        self.show_band("console")
        self.query_one("#console-line", Input).focus()
        held = self.held.get(attached.port)
        if held is not None and held.known and not held.lines:
            self.app.tell("The board was last seen without a program; Ctrl+L loads the listing.")
        self.type_line(command)

    def action_interrupt(self) -> None:
        attached = self.need_board()
        if attached is not None:
            job = attached.talk("Interrupting the program", lambda board: board.interrupt())
            self.app.watch_job(job, done=lambda _: "The interrupt was sent.")

    def action_restart(self) -> None:
        from hostlink.app.dialogues import Ask
        from hostlink.jobs.events import MemoryLost
        from hostlink.jobs.restarting import restart

        attached = self.need_board()
        if attached is None:
            return

        def done(restarted: Restarted) -> str:
            limit = attached.choice.profile.rules.storage.program_bytes
            self.note_held(attached, Held(restarted.at_prompt, "", restarted.lines, 0, limit))
            if restarted.held.spec and not restarted.lines:
                self.lost_program(attached, MemoryLost("It was restarted.", restarted.held.spec))
            return "The board was restarted."

        def answered(answer: str | None) -> None:
            if answer != "restart":
                return
            job = attached.do(
                f"Restarting {self.board_name(attached)}",
                lambda session, archive: restart(session, archive, consent=lambda _: True),
            )
            self.app.watch_job(job, done=done)

        self.app.push_screen(
            Ask(
                f"Restart {self.board_name(attached)}? What its memory holds is lost.",
                [("leave", "Leave it"), ("restart", "Keep its program, then restart")],
                why="The program is captured and kept in the archive before.",
            ),
            answered,
        )
