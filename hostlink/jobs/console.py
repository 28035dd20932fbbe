"""Talking to a board line by line: the engine of the console, without a terminal.

Rules:
1. One thread drives it: `listen` whenever nothing else is to be done, `enter` for a line, `send`
   for a reviewed paste. It owns the port while it is connected.
2. Board output is shown row by row with its control characters as escapes; `partial` is the row
   that has not ended yet: the prompt, or a program's question.
3. A line is typed with care (its echo is right before its line end goes out). A line that may clear
   or replace the program waits until that is captured and kept.
4. When the board vanishes `listen` looks for it (see hostlink.jobs.session.long_session).
"""

from __future__ import annotations

from collections.abc import Callable

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.evidence import Doubt
from hostlink.board.dialogue.loading import Loader
from hostlink.errors import LinkError, LinkReason, ReadBackError, RefusedError
from hostlink.jobs.board_rows import BoardRows
from hostlink.jobs.events import Emit
from hostlink.jobs.pasting import Pasted, may_overwrite, may_run, may_store, names_overwriting
from hostlink.jobs.run.memory_of_run import keep_before_run
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.long_session import Standing
from hostlink.jobs.session.rescuing import rescue_held
from hostlink.jobs.session.session import Session
from hostlink.jobs.untyped import too_long, untyped
from hostlink.link.exchange import QUIET_WITHOUT_PROMPT_S
from hostlink.link.pacing import ends_with_prompt
from hostlink.link.typed import Typed
from hostlink.listing import Line, to_bytes
from hostlink.words import safe

_MOST_ANSWER = 65_536  # bytes of an answer that are looked at
_MOST_HEARD = 80  # bytes that were heard last, to know the prompt by; more than any prompt has


class Console(Standing):
    """A board at a prompt, for as long as the `with` block lasts.

    show: called with each row that the board sends, safe to print. emit: told what hostlink itself
    has to say. stays: wait for a board that vanished, and attach to one that shows no prompt;
    it is looked for every look_again_s.
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
            choice,
            archive,
            emit,
            cancelled=cancelled,
            stays=stays,
            look_again_s=look_again_s,
        )
        self._rows = BoardRows(choice.profile.rules.form.charset, show)
        self._begin(None)

    def __enter__(self) -> Console:
        self.open()
        return self

    def _begin(self, row: bytes | None) -> None:
        super()._begin(row)
        self._heard = bytearray(row or b"")
        # A prompt may stand in a row of its own, which has ended then.
        self._rows.begin(b"" if self._heard.endswith((b"\r", b"\n")) else bytes(self._heard))
        self._answer = bytearray()
        self._pending: str | None = None
        self._may_be_cleared = False  # by what runs since the prompt
        self._last = self._session.wire.now() if self._session is not None else 0.0

    def use(self, choice: LinkChoice) -> None:
        """Continue with another port, profile and speed, and decode output in its character set."""
        self._rows.charset = choice.profile.rules.form.charset
        super().use(choice)

    @property
    def partial(self) -> str:
        """The row that has not ended yet, safe to print."""
        return self._rows.partial

    # --- listening ---------------------------------------------------------------------------

    def listen(self, seconds: float) -> None:
        """Let the board talk for that long, shown as it comes."""
        if self._session is None:
            self.look_for_it()
            return
        try:
            with self._linked() as session:
                until = session.wire.now() + seconds
                while session.wire.now() < until and not self._cancelled():
                    wake = min(until, self._quiet_at) if self._prompted() else until
                    self._feed(session.wire.receive(wake))
        except LinkError as error:
            if error.reason is not LinkReason.GONE or not self._stays:
                raise

    def settle(self, longest_s: float, silence_s: float) -> bool:
        """Listen until the board is at its prompt; whether it is.

        Ends early when nothing has come for silence_s: a program waits for input, or works.
        """
        with self._linked() as session:
            until = session.wire.now() + longest_s
            while not self.at_prompt and session.wire.now() < until and not self._cancelled():
                silent_at = self._last + silence_s
                if session.wire.now() >= silent_at:
                    break
                wake = min(self._quiet_at if self._prompted() else silent_at, until)
                self._feed(session.wire.receive(wake))
        return self.at_prompt

    @property
    def _quiet_at(self) -> float:
        pacing = self._here().dialogue.pacing
        quiet_s = pacing.quiet_s if pacing.direct_end else QUIET_WITHOUT_PROMPT_S
        return self._last + max(quiet_s, pacing.guard_s)

    def _prompted(self) -> bool:
        """Whether the prompt was heard last, so that only quiet is wanting."""
        pacing = self._here().dialogue.pacing
        return not self.at_prompt and ends_with_prompt(self._heard, pacing)

    def _feed(self, data: bytes) -> None:
        session = self._here()
        if data:
            self._last = session.wire.now()
            self.at_prompt = False
            self._take(data)
        elif self._prompted() and session.wire.now() >= self._quiet_at:
            self.at_prompt = True
            self._answered()
        if session.restarts.seen > self._restarts:
            self._restarts = session.restarts.seen
            self._restarted()

    def _take(self, data: bytes) -> None:
        """Show what came, and keep the answer to the last line."""
        if self._pending is not None and len(self._answer) < _MOST_ANSWER:
            self._answer += data
        self._rows.take(data)
        self._heard += data
        del self._heard[:-_MOST_HEARD]

    def _answered(self) -> None:
        """The board is back at its prompt: what did the last line do to the host copy?"""
        line, self._pending = self._pending, None
        answer = bytes(self._answer)
        self._answer.clear()
        session = self._here()
        if self._may_be_cleared:
            self._may_be_cleared = False
            self.copy.replaced(session.dialogue.capture())
            return
        if line is None:
            return
        said = session.dialogue.body(answer).strip("\r\n ")
        commands = session.profile.commands
        if Line.from_text(line).number is not None:
            if not said:
                self.copy.stored(line)
        elif commands.list and line.strip().upper() == commands.list.upper():
            self.copy.listed(said)

    def _restarted(self) -> None:
        self._pending = None
        self._answer.clear()
        super()._restarted()

    # --- what a person does ------------------------------------------------------------------

    def enter(self, line: str) -> None:
        """Type one line.

        Raises LineTooLongError where the board takes no line of that length, and RefusedError,
        ListingError or LinkError where nothing was typed.
        """
        with self._linked() as session:
            form = session.profile.rules.form
            data = to_bytes(line, form.charset)
            if form.longest_line and len(data) > form.longest_line:
                raise too_long(data, form.longest_line, "Nothing was typed.")
            if any(byte < 32 for byte in data):
                raise RefusedError(
                    f'"{safe(line[:40])}" holds a control character and was not typed.'
                )
            self.listen(0.0)
            self._refuse_while_printing()
            overwrites = may_overwrite(line, session.profile)
            clears = False
            if overwrites or may_run(line, session.profile):
                if self.at_prompt or self._finds_prompt(session):
                    clears = overwrites or bool(keep_before_run(session).spec)
                    if overwrites:
                        rescue_held(session, self._archive, self._board)
                elif names_overwriting(line, session.profile):
                    raise RefusedError(
                        f'"{safe(line[:40])}" was not sent: the board is not at its prompt, so the '
                        "program in its memory cannot be kept first.",
                        kept="The program on the board was not touched.",
                        advice="Stop the program that runs, then type it again.",
                    )
            if may_store(line, session.profile):
                self._emit(
                    Warned(
                        "What was stored there before is not kept.",
                        advice=lambda by: f"To keep it first, store a program {by.store}.",
                    )
                )
            self._type(session, line, data)
            self._may_be_cleared |= clears

    def _finds_prompt(self, session: Session) -> bool:
        """Whether the board is at its prompt though that was not heard, as after a job that failed.

        Where it is not, a program takes the line as its input.
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
        """A program that takes input is quiet for a moment; one that prints is not."""
        if self.at_prompt:
            return
        self.listen(self._quiet_at - self._here().wire.now())
        if self._here().wire.now() >= self._quiet_at:
            return
        raise RefusedError(
            "A program is running and printing; the line was not typed.",
            advice="Wait, or interrupt it first.",
        )

    def _type(self, session: Session, line: str, data: bytes) -> None:
        core = Typed(data, session.dialogue.pacing, attempts=12 if self.at_prompt else 2)
        self._pending = line if self.at_prompt else None
        self._answer.clear()
        self._heard.clear()
        session.wire.run(core)
        self._last = session.wire.now()
        if core.cut_at:
            self._pending = None
            raise too_long(data, core.cut_at, self._made_of(session, line, core))
        session.dialogue.evidence.note(Doubt.RETYPED, core.repairs)
        if not core.committed:
            self._pending = None
            raise untyped(core.outcome, self.at_prompt)
        self.at_prompt = False
        self._rows.begin(swallow_end=session.dialogue.pacing.echo)

    def _made_of(self, session: Session, line: str, core: Typed) -> str:
        """What the board did with the part of a too long line that it took, in a sentence."""
        if not core.may_be_entered:
            return "They were taken back; nothing was entered."
        number = Line.from_text(line).number
        if number is None or not self.at_prompt:
            return "It may have been given these alone as a line."
        try:
            self._begin(session.dialogue.pacing.prompt)
            self.copy.captured(session.dialogue.capture())
        except (LinkError, ReadBackError, RefusedError):
            return f"It may have stored these as line {number}; LIST shows it."
        held = self.copy.lines.get(number)
        if held is None:
            return f"It holds no line {number}."
        return f"Its line {number} is now: {safe(held.typed)}"

    def interrupt(self) -> None:
        """Send the board's interrupt byte: a running program stops, hostlink goes on."""
        with self._linked() as session:
            byte = session.dialogue.pacing.interrupt
            if not byte:
                raise RefusedError(
                    "No key is known that stops a program on this board.",
                    kept="Nothing was sent.",
                    advice="A restart stops it, and loses the program in its memory.",
                )
            session.wire.write(byte)
            self._say("The interrupt was sent to the board. hostlink goes on.")

    def capture(self) -> int:
        """Read the program, proven, and renew the host copy; how many lines it has."""
        with self._linked() as session:
            self._need_prompt()
            self.copy.captured(session.dialogue.capture())
        return len(self.copy.lines)

    def send(self, pasted: Pasted) -> None:
        """Send a reviewed paste: numbered lines proven by reading back, direct lines one by one.

        What the board holds is captured and kept first. Raises LinkError, ReadBackError,
        RefusedError; the paste is complete up to the part that failed.
        """
        for part in pasted.parts:
            with self._linked() as session:
                self._need_prompt()
                if isinstance(part, str):
                    self.enter(part)
                    self.settle(longest_s=60.0, silence_s=60.0)
                else:
                    self._send_block(session, part)

    def _send_block(self, session: Session, block: tuple[Line, ...]) -> None:
        held = rescue_held(session, self._archive, self._board)
        target = dict(held.lines)
        for line in block:
            assert line.number is not None
            target.pop(line.number, None)
            if line.text:
                target[line.number] = line
        Loader(session.dialogue, target).load(held.lines or None)
        session.restarts.settle()
        self._restarts = session.restarts.seen
        self.copy.proven(target)

    def _need_prompt(self) -> None:
        if not self.at_prompt:
            raise RefusedError(
                "The board is not at its prompt: a program runs, or waits for input.",
                kept="Nothing was sent.",
                advice="Interrupt it first.",
            )
