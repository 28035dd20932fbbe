"""Talking to a board line by line: the engine of the console, without a terminal.

Rules:
1. One thread drives it: `listen` whenever nothing else is to be done, `enter` for a line, `send`
   for a reviewed paste. It owns the port while it is connected.
2. Board output is shown row by row with its control characters as escapes; `partial` is the row
   that has not ended yet: the prompt, or a program's question.
3. A line is typed with care (its echo is right before its line end goes out). A line that may clear
   or replace the program waits until that is captured and kept.
4. When the board vanishes the port is given back; `listen` looks for the same board and attaches
   again. Where `stays` is false the error is raised instead.
"""

from __future__ import annotations

import contextlib
import dataclasses
import time
from collections.abc import Callable, Iterator
from types import TracebackType

from hostlink.archive import Archive, Board
from hostlink.board.dialogue import shown
from hostlink.board.events import Warned
from hostlink.board.loading import Loader
from hostlink.board.ports import Identity, port_of
from hostlink.errors import HostlinkError, LinkError, LinkReason, RefusedError
from hostlink.jobs.attaching import way_back
from hostlink.jobs.board_rows import BoardRows
from hostlink.jobs.copying import HostCopy
from hostlink.jobs.events import Emit, Event
from hostlink.jobs.pasting import Pasted, may_overwrite
from hostlink.jobs.rescuing import rescue_held
from hostlink.jobs.session import LinkChoice, Session
from hostlink.link.exchange import QUIET_WITHOUT_PROMPT_S, Outcome, Typed
from hostlink.link.recording import Recorder
from hostlink.listing import Line, to_bytes

_MOST_ANSWER = 65_536  # bytes of an answer that are looked at
_REASONS_TO_STAY = (LinkReason.RUNNING, LinkReason.SILENT, LinkReason.UNREADABLE)


class Console:
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
        self.choice = choice
        self._archive = archive
        self._emit = emit
        self._rows = BoardRows(choice.profile.rules.form.charset, show)
        self._cancelled = cancelled
        self._stays = stays
        self._recorder = Recorder(choice.record) if choice.record is not None else None
        self._session: Session | None = None
        self._identity = Identity(choice.port)
        self._look_again_s = look_again_s
        self._look_at = 0.0
        self._reset()

    def __enter__(self) -> Console:
        try:
            self._connect(self.choice.port)
        except BaseException:
            self.__exit__(None, None, None)
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._give_back()
        if self._recorder is not None:
            self._recorder.close()

    def _reset(self) -> None:
        self._rows.begin()
        self._answer = bytearray()
        self._pending: str | None = None
        self._last = 0.0
        self.at_prompt = False

    # --- the link ----------------------------------------------------------------------------

    @property
    def is_here(self) -> bool:
        """Whether the board is connected."""
        return self._session is not None

    @property
    def partial(self) -> str:
        """The row that has not ended yet, safe to print."""
        return self._rows.partial

    def _connect(self, port: str, *, returning: bool = False) -> None:
        session = Session(
            dataclasses.replace(self.choice, port=port, record=None),
            _unheard if returning else self._emit,  # each look would warn of the opening anew
            self._cancelled,
            archive=self._archive,
            recorder=self._recorder,
        )
        session.emit = session.dialogue.emit = self._emit
        self._session = session
        self._identity = session.identity
        self._reset()
        try:
            session.attach()
            self.at_prompt = True
            self._rows.begin(session.dialogue.pacing.prompt)
        except LinkError as error:
            if not self._stays or error.reason not in _REASONS_TO_STAY:
                raise
            self._say(str(error))
        self._last = session.wire.now()
        self._restarts = session.wire.health.restarts
        self._board: Board = session.board_in(self._archive)
        self.copy = HostCopy(self._archive, self._board, session.profile)
        if session.restarted_since_attach:
            self.copy.lost()

    def _give_back(self) -> None:
        """Close the port, but not the recording, which goes on when the board returns."""
        session, self._session = self._session, None
        if session is not None:
            session.wire.recorder = None
            with contextlib.suppress(HostlinkError):
                session.wire.close()

    def _here(self) -> Session:
        if self._session is None:
            raise LinkError(
                "The board is not here; nothing was sent.",
                reason=LinkReason.GONE,
                advice="Plug it in again.",
            )
        return self._session

    @contextlib.contextmanager
    def _linked(self) -> Iterator[Session]:
        """Whatever is done on the wire: the port of a board that vanishes is given back."""
        try:
            yield self._here()
        except LinkError as error:
            if error.reason is LinkReason.GONE and self._session is not None:
                self._give_back()
                self._reset()
                if self._stays:
                    self._say("The board vanished (unplugged?). Waiting for it to come back.")
            raise

    def _return(self) -> None:
        """Look for the same board, by what it can be recognised by, and attach to it again."""
        if time.monotonic() < self._look_at:
            return
        self._look_at = time.monotonic() + self._look_again_s
        port = port_of(self._identity)
        if port is None:
            return
        try:
            self._connect(port, returning=True)
            empty = self.at_prompt and self.copy.lines and not self._here().dialogue.list_once()
        except LinkError:
            self._give_back()
            return
        self._say(f"The board is back, at {port}.")
        if empty:
            back = way_back(self._archive, self._board)
            self.copy.lost()
            self._say(f"Its memory is empty: it had no supply meanwhile. {back}".strip())

    # --- listening ---------------------------------------------------------------------------

    def listen(self, seconds: float) -> None:
        """Let the board talk for that long, shown as it comes."""
        if self._session is None:
            self._return()
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
        quiet_s = pacing.quiet_s if pacing.prompt else QUIET_WITHOUT_PROMPT_S
        if pacing.line_done == "after-prompt":
            quiet_s = max(quiet_s, pacing.after_prompt_s)
        return self._last + quiet_s

    def _prompted(self) -> bool:
        """Whether the last row is the prompt, so that only quiet is wanting."""
        prompt = self._here().dialogue.pacing.prompt
        return not self.at_prompt and bytes(self._rows.row) == prompt

    def _feed(self, data: bytes) -> None:
        session = self._here()
        if data:
            self._last = session.wire.now()
            self.at_prompt = False
            self._take(data)
        elif self._prompted() and session.wire.now() >= self._quiet_at:
            self.at_prompt = True
            self._answered()
        if session.wire.health.restarts > self._restarts:
            self._restarts = session.wire.health.restarts
            self._restarted()

    def _take(self, data: bytes) -> None:
        """Show what came, and keep the answer to the last line."""
        if self._pending is not None and len(self._answer) < _MOST_ANSWER:
            self._answer += data
        self._rows.take(data)

    def _answered(self) -> None:
        """The board is back at its prompt: what did the last line do to the host copy?"""
        line, self._pending = self._pending, None
        answer = bytes(self._answer)
        self._answer.clear()
        if line is None:
            return
        session = self._here()
        said = session.dialogue.body(answer).strip("\r\n ")
        commands = session.profile.commands
        if Line.from_text(line).number is not None:
            if not said:
                self.copy.stored(line)
        elif commands.list and line.strip().upper() == commands.list.upper():
            self.copy.listed(said)
        elif may_overwrite(line, session.profile):
            self.capture()

    def _restarted(self) -> None:
        self._pending = None
        self._answer.clear()
        spec = self.copy.lost()
        kept = f" What it held is kept: `hostlink load {spec}` puts it back." if spec else ""
        self._say(f"The board restarted, and its memory was lost.{kept}")

    def _say(self, text: str) -> None:
        self._emit(Warned(text))

    # --- what a person does ------------------------------------------------------------------

    def enter(self, line: str) -> None:
        """Type one line. Raises RefusedError, ListingError or LinkError; nothing was typed then."""
        with self._linked() as session:
            data = to_bytes(line, session.profile.rules.form.charset)
            if any(byte < 32 for byte in data):
                raise RefusedError(
                    f'"{shown(line[:40])}" holds a control character and was not typed.'
                )
            self.listen(0.0)
            self._refuse_while_printing()
            if self.at_prompt and self._risks_program(line):
                rescue_held(session, self._archive, self._board)
            self._type(session, line, data)

    def _risks_program(self, line: str) -> bool:
        """Whether a line may clear or replace the program, itself or by running one that does."""
        profile = self._here().profile
        if may_overwrite(line, profile):
            return True
        run = profile.commands.run.upper()
        runs = bool(run) and run in line.upper() and Line.from_text(line).number is None
        return runs and any(may_overwrite(each.text, profile) for each in self.copy.lines.values())

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
        session.wire.run(core)
        session.wire.health.disagreements += core.repairs
        self._last = session.wire.now()
        if not core.committed:
            self._pending = None
            raise _untyped(core.outcome, self.at_prompt)
        self.at_prompt = False
        self._rows.begin(swallow_end=session.dialogue.pacing.echo)

    def interrupt(self) -> None:
        """Send the board's interrupt byte: a running program stops, hostlink goes on."""
        with self._linked() as session:
            byte = session.dialogue.pacing.interrupt
            if not byte:
                raise RefusedError("This kind of board has no interrupt byte.")
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
        session.memory_is_known()
        self._restarts = session.wire.health.restarts
        self.copy.proven(target)

    def _need_prompt(self) -> None:
        if not self.at_prompt:
            raise RefusedError(
                "The board is not at its prompt: a program runs, or waits for input.",
                kept="Nothing was sent.",
                advice="Interrupt it first.",
            )


def _unheard(event: Event) -> None:
    """For what happens while a board is looked for."""


def _untyped(outcome: Outcome, at_prompt: bool) -> LinkError:
    if not at_prompt:
        return LinkError(
            "The line was not taken: no right echo came back, so the program takes no input now.",
            reason=LinkReason.RUNNING,
            advice="Wait, or interrupt it.",
        )
    return LinkError(
        "The line could not be typed right and was not entered; the wire damages bytes.",
        reason=LinkReason.DAMAGED if outcome is Outcome.UNTYPED else LinkReason.SILENT,
        advice="Check the cable and the speed.",
    )
