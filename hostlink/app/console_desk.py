"""The desk's console: lines typed to the current board, running, breaking, restarting."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from textual.widgets import Input

from hostlink.app.board_desk import BoardDesk
from hostlink.app.console import ConsolePane
from hostlink.app.texts import Held

if TYPE_CHECKING:
    from hostlink.app.work import Attached, Bench
    from hostlink.jobs.restarting import Restarted


class ConsoleDesk(BoardDesk):
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
                if "lost" in text or "vanished" in text or "empty" in text:
                    self.held.pop(attached.port, None)
                    self.board_changed()

    # --- the console -------------------------------------------------------------------------

    def on_console_pane_entered(self, event: ConsolePane.Entered) -> None:
        event.stop()
        self.type_line(event.line)

    def type_line(self, line: str) -> None:
        """Type one line to the board; a refusal leaves it in the console's own line."""
        attached = self.need_board()
        if attached is None:
            return

        def work(bench: Bench) -> None:
            bench.enter(line)
            self_rows = attached.rows
            self_rows.append((f"{attached.partial}{line}", False))

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
            self.held[attached.port] = Held()
            self.board_changed()
        elif held.known and held.spec and Line.from_text(line).number is not None:
            self.held[attached.port] = dataclasses.replace(held, changed=True, proven_at=None)
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
        self.type_line(command)

    def action_interrupt(self) -> None:
        attached = self.need_board()
        if attached is not None:
            job = attached.talk("Interrupting the program", lambda bench: bench.interrupt())
            self.app.watch_job(job, done=lambda _: "The interrupt was sent.")

    def action_restart(self) -> None:
        from hostlink.app.dialogues import Ask
        from hostlink.jobs.restarting import restart

        attached = self.need_board()
        if attached is None:
            return

        def done(restarted: Restarted) -> str:
            limit = self.app.profile.rules.storage.program_bytes
            self.held[attached.port] = Held(restarted.at_prompt, "", restarted.lines, 0, limit)
            self.board_changed()
            if restarted.held.spec and not restarted.lines:
                self.offer_reload(attached, restarted.held.spec)
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
