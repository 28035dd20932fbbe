"""Listening to a board for hours: its output by rows, what it does, and stopping what runs on it.

Rules:
1. `listen` is called when nothing else has to be done. It types nothing.
2. Only what the user types is typed into a running program. A job is lent the session only at the
   prompt, or after the program was stopped with consent.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from hostlink.archive import Archive, RunEnd
from hostlink.board.dialogue.reported_errors import find_reported_error
from hostlink.errors import LinkError, LinkReason
from hostlink.jobs.console_output import ConsoleOutput
from hostlink.jobs.events import Emit, ProgramFailed
from hostlink.jobs.run.keeping import STOPPED, RunRecord
from hostlink.jobs.session.activity import Activity
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.long_session import LongSession
from hostlink.jobs.session.session import Session
from hostlink.jobs.typing_errors import no_interrupt_error, occupied_error
from hostlink.link.core import Overheard
from hostlink.link.stopping import Stopping
from hostlink.link.taking_back import take_back

_ROWS_WITH_ERROR = 20  # rows; an error stands in the last two
_ABOUT_TO_END_S = 1.5  # most direct commands are answered by then


class Listening(LongSession):
    """A session that shows what the board sends; the base of the console.

    See Console for the parameters.
    """

    def __init__(
        self,
        choice: LinkChoice,
        archive: Archive,
        emit: Emit,
        show: Callable[[str], None],
        *,
        cancelled: Callable[[], bool] = lambda: False,
        stays: bool = False,
        look_again_s: float = 0.5,
    ) -> None:
        super().__init__(
            choice, archive, emit, cancelled=cancelled, stays=stays, look_again_s=look_again_s
        )
        self._show = show
        self._last_rows: deque[str] = deque(maxlen=_ROWS_WITH_ERROR)  # of a program that runs
        self._record: RunRecord | None = None  # of a program that runs
        self._spoke_unasked = False
        self._output = ConsoleOutput(choice.profile.rules.form.charset, self._row_ended)
        self._begin(None)

    def _row_ended(self, row: str) -> None:
        self._last_rows.append(row)
        self._show(row)

    def _begin(self, row: bytes | None) -> None:
        self._end_record()
        super()._begin(row)
        self._may_be_cleared = False  # memory, by what was run since the prompt
        if self._session is None:
            self._output.begin(b"", 0.0)
            return
        wire = self._session.wire
        self._output.begin(_last_row(wire.recent) if row is None else row, wire.now())

    def use(self, choice: LinkChoice) -> None:
        """Continue with another port, profile and speed, and decode output in its character set."""
        self._output.use_charset(choice.profile.rules.form.charset)
        super().use(choice)

    @property
    def partial(self) -> str:
        """Return the row that has not ended yet, safe to print."""
        return self._output.partial

    def take_unasked(self) -> bool:
        """Return whether the board has sent anything unrequested since the last call.

        That is anything sent at its prompt or after silence, and a prompt after its memory was
        full: it may have restarted, or somebody typed at its own keyboard.
        """
        spoke, self._spoke_unasked = self._spoke_unasked, False
        return spoke

    def listen(self, seconds: float, ends: Callable[[], bool] = lambda: False) -> None:
        """Show what the board sends for some seconds. ends: returns whether to stop earlier."""
        if self._session is None:
            self.look_for_it()
            return
        try:
            with self._linked() as session:
                until = session.wire.now() + seconds
                while session.wire.now() < until and not (ends() or self._cancelled()):
                    wake = min(until, self._quiet_at) if self._prompted() else until
                    self._feed(session.wire.receive(wake))
        except LinkError as error:
            if error.reason is not LinkReason.GONE or not self._stays:
                raise

    def settle(self, longest_s: float, silence_s: float) -> bool:
        """Listen until the board is at its prompt; return whether it is.

        longest_s: the time limit in seconds. silence_s: give up after this silence, in which a
        program may wait for input or compute.
        """
        with self._linked() as session:
            until = session.wire.now() + longest_s
            while not self.at_prompt and session.wire.now() < until and not self._cancelled():
                silent_at = self._output.last + silence_s
                if session.wire.now() >= silent_at:
                    break
                wake = min(self._quiet_at if self._prompted() else silent_at, until)
                self._feed(session.wire.receive(wake))
        return self.at_prompt

    @property
    def _quiet_at(self) -> float:
        return self._output.quiet_at(self._here().dialogue.pacing)

    def _prompted(self) -> bool:
        """Return whether the prompt was received last, so that only quiet has to follow."""
        return not self.at_prompt and self._output.ends_with_prompt(self._here().dialogue.pacing)

    def _feed(self, data: bytes) -> None:
        session = self._here()
        now = session.wire.now()
        was = self.activity.now.activity
        if data:
            self._spoke_unasked |= was in (Activity.PROMPT, Activity.SILENT)
            self.activity.heard(now)
            self._output.take(data, now)
            if self._record is not None:
                self._record.output.take(data)
        elif not self._prompted():
            self.activity.quiet(now, self.partial, self._output.asks_at)
        elif now >= self._quiet_at:
            self._spoke_unasked |= was is Activity.FULL  # which only a restart ends
            ended = self.activity.is_program
            self._is_half_typed = False
            self.activity.prompted()
            if ended:
                self._program_ended(session)
            self._answered()
        if session.restarts.seen > self._restarts:
            self._restarts = session.restarts.seen
            self._restarted()

    def _program_ended(self, session: Session) -> None:
        """Report the line in which a program ended with an error, if the board has named one."""
        rows = [*self._last_rows]
        if rows and rows[-1] == session.dialogue.pacing.ready.decode("latin-1").strip():
            del rows[-1]
        fault = find_reported_error(rows, session.profile)
        if self._record is not None:
            self._record.ended(fault)
            self._end_record(self._record.end)
        if fault is not None and fault.number is not None:
            self._emit(ProgramFailed(fault.message, fault.number))

    def _answered(self) -> None:
        """Update the host copy for the line entered last, now that the board is at its prompt."""
        line, answer = self._output.take_answer()
        session = self._here()
        if self._may_be_cleared:
            self._may_be_cleared = False
            self.copy.replaced(session.dialogue.capture())
            return
        if line is not None:
            self.copy.answered(line, session.dialogue.body(answer).strip("\r\n "))

    def _end_record(self, end: RunEnd | None = None) -> None:
        """Keep the recorded run, if any. end: how it ended; None if its end was not heard."""
        record, self._record = self._record, None
        if record is None or self._archive.read_only:  # a warning was given when it was opened
            return
        record.output.close(at_prompt=end is not None)
        record.end = end or record.end
        record.keep()

    def _close_port(self) -> None:
        self._end_record()
        super()._close_port()

    def _restarted(self) -> None:
        self._end_record(RunEnd("failed", "The board restarted."))
        self._output.forget_line()
        self._is_half_typed = False
        self.activity.restarted(self._here().wire.now())
        super()._restarted()

    # --- stopping ----------------------------------------------------------------------------

    def interrupt(self) -> None:
        """Stop the program that runs on the board, but not hostlink; report the result."""
        with self._linked() as session:
            if not session.dialogue.pacing.interrupt:
                raise no_interrupt_error()
            if self.at_prompt:
                session.wire.write(session.dialogue.pacing.interrupt)
                self._say("The interrupt was sent; no program was running.")
                return
            asked, heard_at = self.activity.now.activity is Activity.ASKING, self._output.last
            if self._stop(session):
                self._say("The program was stopped.")
            elif asked and self._output.last == heard_at:  # not even an echo of what was typed
                self.activity.failed(LinkReason.SILENT)
                self._say("No answer came to the interrupt, not even an echo.")
            else:
                self._say("The interrupt was sent; the board's prompt has not come back yet.")

    def _stop(self, session: Session) -> bool:
        """Stop what runs on the board, and show its output; return whether its prompt is back."""
        core = Stopping(session.dialogue.pacing)
        with session.unstoppable():
            session.wire.run(Overheard(core, self._feed))
            if core.stopped:
                self._end_record(STOPPED)
                take_back(session.wire, session.dialogue.pacing)
        if core.stopped and not self.at_prompt:
            self._begin(session.dialogue.pacing.prompt)
        return self.at_prompt

    def free(self, *, may_stop: bool) -> None:
        """Make sure that no program runs, as `lend` does. Raises its errors."""
        with self._linked() as session:
            self._make_free(session, may_stop=may_stop)

    def _make_free(self, session: Session, *, may_stop: bool) -> None:
        self.listen(0.0)
        if self.activity.now.activity is Activity.ANSWERING:
            self.settle(longest_s=_ABOUT_TO_END_S, silence_s=_ABOUT_TO_END_S)
        if not self.activity.now.is_occupied:
            return
        if not may_stop:
            raise occupied_error(self.activity.now)
        self._stop(session)  # if this fails, the job reports that there is no prompt


def _last_row(heard: bytes) -> bytes:
    """Return the row that has not ended."""
    return heard[max(heard.rfind(b"\r"), heard.rfind(b"\n")) + 1 :]
