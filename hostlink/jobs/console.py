"""The engine of the console: talking to a board line by line, without a terminal.

Rules:
1. One thread drives it: `listen` when nothing else has to be done, `enter` for a line, `send` for a
   reviewed paste. It owns the port while it is connected.
2. Board output is shown row by row with control characters as escapes; `partial` is the row that
   has not ended yet: the prompt, or a program's question.
3. The line end of a line is sent only after its text was echoed correctly. Before a line that may
   clear or replace the program, the program is captured and kept.
4. When the board vanishes, `listen` looks for it (see hostlink.jobs.session.long_session).
"""

from __future__ import annotations

from collections.abc import Mapping

from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.dialogue.loading import Loader
from hostlink.errors import Interrupted, LinkError, LinkReason, ReadBackError, RefusedError
from hostlink.jobs.listening import Listening
from hostlink.jobs.pasting import (
    Pasted,
    may_overwrite,
    may_run,
    may_store,
    merge_lines,
    names_overwriting,
)
from hostlink.jobs.run.keeping import RunRecord
from hostlink.jobs.run.memory_of_run import keep_before_run
from hostlink.jobs.session.rescuing import rescue_held
from hostlink.jobs.session.session import Session
from hostlink.jobs.typing_errors import (
    cannot_keep_first_error,
    checked_bytes,
    no_room_error,
    not_at_prompt_error,
    not_entered_error,
    printing_error,
    too_long_error,
)
from hostlink.link.taking_back import TakingBack, take_back
from hostlink.link.typed import Outcome, Typed
from hostlink.listing import Line
from hostlink.sentences import PARTLY_THERE, held_before
from hostlink.words import safe

_LONGEST_LEFT = 80  # characters in a board's input line if the profile names no longest line
_STORED_IS_NOT_KEPT = Warned(
    "What was stored there before is not kept.",
    advice=lambda by: f"To keep it first, store a program {by.store}.",
)


class Console(Listening):
    """A console on a board, open within a `with` block.

    show: called with each row that the board sends, safe to print. emit: receives hostlink's own
    events. stays: attach to a board that shows no prompt, and wait for one that vanishes, looking
    for it every look_again_s seconds.
    """

    def __enter__(self) -> Console:
        self.open()
        return self

    # --- actions of the user ------------------------------------------------------------------

    def enter(self, line: str) -> bool:
        """Type one line; return True for a command, False for an answer to a program's question.

        Raises LineTooLongError if the board accepts no line of that length, and RefusedError,
        ListingError or LinkError if nothing was typed.
        """
        with self._linked() as session:
            data = checked_bytes(line, session.profile.rules.form)
            self.listen(0.0)
            self._refuse_while_printing()
            overwrites = may_overwrite(line, session.profile)
            clears = False
            lines: Mapping[int, Line] = {}
            if overwrites or may_run(line, session.profile):
                if self.at_prompt or (
                    not self.activity.now.is_occupied and self._finds_prompt(session)
                ):
                    if overwrites:
                        lines = rescue_held(session, self._archive, self._board).lines
                    else:
                        before = keep_before_run(session)
                        lines, clears = before.lines, bool(before.spec)
                    clears |= overwrites
                elif names_overwriting(line, session.profile):
                    raise cannot_keep_first_error(line)
            if may_store(line, session.profile):
                self._emit(_STORED_IS_NOT_KEPT)
            is_command = self.at_prompt
            runs = is_command and may_run(line, session.profile)
            if runs:
                self._last_rows.clear()
            self._type(session, line, data)
            self.activity.entered(session.wire.now(), runs=runs)
            if runs:
                self._record = RunRecord(session, lines, line, lambda _: None)
            elif self._record is not None and not is_command:
                self._record.answered(data, echo=session.dialogue.pacing.echo)
            self._may_be_cleared |= clears
        return is_command

    def _finds_prompt(self, session: Session) -> bool:
        """Look for the prompt of a board whose state is unknown, such as after a failed job.

        Return whether the board is at it; if not, a program will take the line as its input.
        """
        try:
            session.dialogue.attach()
        except LinkError as error:
            if error.reason is LinkReason.GONE:
                raise
            return False
        self._begin(session.dialogue.pacing.prompt)
        return True

    def _refuse_while_printing(self) -> None:
        """Raise RefusedError if a program prints; one that waits for input is quiet."""
        if self.at_prompt:
            return
        self.listen(self._quiet_at - self._here().wire.now())
        if self._here().wire.now() >= self._quiet_at:
            return
        raise printing_error()

    def _erase_rest(self, session: Session) -> None:
        """Erase what a failed job or line may have left in the board's input line."""
        if self._is_half_typed:
            self._is_half_typed = False
            longest = session.profile.rules.form.longest_line or _LONGEST_LEFT
            session.wire.run(TakingBack(session.dialogue.pacing, longest))

    def _type(self, session: Session, line: str, data: bytes) -> None:
        self._erase_rest(session)
        core = Typed(data, session.dialogue.pacing, attempts=12 if self.at_prompt else 2)
        self._output.line_follows(line if self.at_prompt else None)
        try:
            session.wire.run(core)
        except Interrupted:
            with session.unstoppable():
                take_back(session.wire, session.dialogue.pacing)
            raise
        self._output.last = session.wire.now()
        if not core.committed:
            self._output.forget_line()
        if core.cut_at:
            raise too_long_error(data, core.cut_at, self._fate_of_part(session, line, core))
        if core.outcome is Outcome.CROWDED and self.at_prompt:
            raise no_room_error(data, core.room, self._fate_of_part(session, line, core))
        session.dialogue.evidence.note(DamageSign.RETYPED, core.repairs)
        if not core.committed:
            is_silent = not (core.echo_heard or core.heard)
            error = not_entered_error(core.outcome, self.at_prompt, is_silent=is_silent)
            if not self.activity.now.is_occupied:
                self.activity.failed(error.reason)
            raise error
        self._output.line_entered(echo=session.dialogue.pacing.echo)

    def _fate_of_part(self, session: Session, line: str, core: Typed) -> str:
        """Say what the board did with the accepted part of a line that is too long."""
        if not core.may_be_entered:
            return "What it took was erased; nothing was entered."
        number = Line.from_text(line).number
        if number is None or not self.at_prompt:
            return "The board may have entered that part alone."
        try:
            self._begin(session.dialogue.pacing.prompt)
            self.copy.captured(session.dialogue.capture())
        except (LinkError, ReadBackError, RefusedError):
            return f"The board may have stored that part as line {number}; LIST shows it."
        held = self.copy.lines.get(number)
        if held is None:
            return f"The board holds no line {number}."
        return f"Line {number} on the board is now: {safe(held.typed)}"

    def capture(self) -> int:
        """Capture the program and update the host copy; return its number of lines."""
        with self._linked() as session:
            self._need_prompt()
            self.copy.captured(session.dialogue.capture())
        return len(self.copy.lines)

    def send(self, pasted: Pasted) -> None:
        """Send a reviewed paste: numbered lines are read back, direct lines are entered one by one.

        The program on the board is captured and kept first. Raises LinkError, ReadBackError or
        RefusedError; every part before the failed one was sent completely.
        """
        for part in pasted.parts:
            with self._linked() as session:
                self._need_prompt()
                if isinstance(part, str):
                    self.enter(part)
                    self.settle(longest_s=60.0, silence_s=60.0)
                    continue
                try:
                    self._send_block(session, part)
                except Interrupted as error:
                    session.abandon()
                    raise error.but(
                        what=f"Stopped while the paste was sent; {PARTLY_THERE}.",
                        kept=error.kept or held_before(),
                    ) from error

    def _send_block(self, session: Session, block: tuple[Line, ...]) -> None:
        held = rescue_held(session, self._archive, self._board)
        target = merge_lines(held.lines, block)
        try:
            Loader(session.dialogue, target).load(held.lines or None)
        except ReadBackError as error:
            if not held.spec:
                raise
            raise error.but(kept=f"{error.kept} {held_before(held.spec)}") from error
        session.restarts.settle()
        self._restarts = session.restarts.seen
        self.copy.proven(target)
        self._begin(session.dialogue.pacing.prompt)

    def _need_prompt(self) -> None:
        if not self.at_prompt:
            raise not_at_prompt_error()
