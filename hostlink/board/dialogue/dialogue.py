"""Type commands at one board and return its answers.

All commands go over one wire that stays open. Each is typed with care: its echo is checked before
the line end goes out. Board output is data; it is returned and never obeyed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from hostlink.board.dialogue.answers import free_bytes
from hostlink.board.dialogue.capturing import Capture, Capturing
from hostlink.board.dialogue.common_words import CLEARING
from hostlink.board.dialogue.events import Emit, Warned, ignore
from hostlink.board.dialogue.evidence import DamageSign, Evidence
from hostlink.board.dialogue.idle_rows import unbroken, without_idle_end
from hostlink.board.dialogue.no_prompt_errors import command_unanswered, no_prompt
from hostlink.board.dialogue.own_rows import is_own, shape_of
from hostlink.board.dialogue.paging import with_paging
from hostlink.board.dialogue.reading import Reading, read_listing, rows_of
from hostlink.board.dialogue.witness import ask_witness
from hostlink.board.profile.model import Profile
from hostlink.board.profile.pacing import pacing_of
from hostlink.errors import NotClearedError, RefusedError
from hostlink.link.attaching import Waking
from hostlink.link.exchange import Exchange, Reach
from hostlink.link.regain import FoundState, Regain
from hostlink.link.typed import Outcome
from hostlink.link.wire import Wire
from hostlink.listing.charset import to_bytes, to_text
from hostlink.sentences import STILL_ON_BOARD, UNTOUCHED
from hostlink.words import safe

_LIST_SILENCE_S = 2.0
_LIST_MOST_BYTES = 16_384
_CLEARINGS = 3  # attempts at a refused clear command: the first may have been damaged
PURPOSES = {
    "clear": "clear the program memory",
    "list": "list the program",
    "run": "run a program by command",
    "store": "store a program",
    "recall": "recall a stored program",
    "stored": "list stored programs",
}
"""What each command of a profile does, in the words of errors."""


class Dialogue:
    """A conversation with the board at the other end of `wire`."""

    def __init__(
        self, wire: Wire, profile: Profile, emit: Emit = ignore, *, evidence: Evidence | None = None
    ) -> None:
        """evidence: the notes of an earlier dialogue over the same open port, or None."""
        self.wire = wire
        self.profile = profile
        self.pacing = pacing_of(profile)
        self.emit = emit
        self.evidence = evidence or Evidence(wire.health)
        self.silent_start = False  # nothing was received when it last listened for a start
        self._restarts_seen = wire.health.restarts
        commands = profile.commands
        self.typed = {commands.list, commands.clear, commands.run, commands.free_memory} - {""}

    # --- the prompt --------------------------------------------------------------------------

    def attach(self, *, may_interrupt: bool = False, starting: bool = False) -> bool:
        """Get to a quiet prompt and return whether the board was heard starting.

        starting: the board was probably just restarted, so listen first and send nothing. A silent
        board is listened to in any case before it is given up, because a bootloader answers
        nothing. Raises LinkError that says what was found instead of a prompt.
        """
        woke = starting and self.listen_waking()
        core = self._look(may_interrupt=may_interrupt)
        if core.found in (FoundState.SILENT, FoundState.UNREADABLE) and not starting:
            woke = self.listen_waking()
            core = self._look(may_interrupt=may_interrupt)
        if core.found is not FoundState.PROMPT:
            raise no_prompt(core, self.profile, self.standing_row)
        self._restarts_seen = self.wire.health.restarts
        return woke

    def listen_waking(self) -> bool:
        """Listen for as long as a restart takes and return whether one was heard.

        Nothing is sent but the answers to the questions that this kind of board asks at its start.
        """
        talk = self.profile.talk
        core = Waking(
            self.pacing,
            banner=self.wire.banner,
            restart_s=talk.restart_ms / 1000,
            questions=[each.rstrip().encode("latin-1") for each in talk.start_questions],
        )
        self.wire.run(core)
        self.silent_start = not core.heard
        return core.woke

    def listen_starting(self) -> bool:
        """Listen for a restart of a board whose prompt is unknown; return whether it spoke."""
        core = Waking(
            self.pacing, banner=b"", restart_s=self.profile.talk.restart_ms / 1000, known=False
        )
        self.wire.run(core)
        self.silent_start = not core.heard
        return core.woke

    def regain(self, *, may_interrupt: bool) -> Regain:
        """Look for a quiet prompt in the middle of a job and return the result.

        A board without a prompt may be restarting and take no input. It is listened to for as long
        as a restart takes, and then asked once more.
        """
        core = self._look(may_interrupt=may_interrupt)
        if core.found is not FoundState.PROMPT:
            self.listen_waking()
            core = self._look(may_interrupt=may_interrupt)
        return core

    def _look(self, *, may_interrupt: bool) -> Regain:
        core = Regain(self.pacing, may_interrupt=may_interrupt)
        self.wire.run(core)
        return core

    @property
    def standing_row(self) -> str:
        """Return the unfinished last row that the board sent, without bells and safe to print."""
        row = self.wire.recent.replace(b"\r", b"\n").rpartition(b"\n")[2].replace(b"\a", b"")
        return safe(to_text(row[-60:].strip(), self.profile.rules.form.charset))

    def restarted(self) -> bool:
        """Return whether a restart was noticed since the last call."""
        new = self.wire.health.restarts > self._restarts_seen
        self._restarts_seen = self.wire.health.restarts
        return new

    # --- commands ----------------------------------------------------------------------------

    def exchange(
        self,
        text: str,
        reach: Reach | None = None,
        on_answer: Callable[[bytes], None] | None = None,
    ) -> Exchange:
        """Type one line, checking its echo; return the exchange with its answer, whatever it is."""
        data = to_bytes(text, self.profile.rules.form.charset)
        if not text[:1].isdigit():
            self.typed.add(text)
        core = Exchange(data, self.pacing, reach, on_answer=on_answer)
        self.wire.run(core)
        self.evidence.note(DamageSign.RETYPED, core.repairs)
        self.evidence.note(DamageSign.ASKED_AGAIN, core.nudged)
        if core.repairs and not (self.pacing.line_cancel or self.pacing.erase):
            self.evidence.disturbed()
        return core

    def command(
        self,
        text: str,
        reach: Reach | None = None,
        on_answer: Callable[[bytes], None] | None = None,
    ) -> Exchange:
        """Type a direct command and return the exchange with its answer.

        Raises LinkError if it cannot be typed, or if no prompt follows its answer.
        """
        core = self.exchange(text, reach, on_answer)
        if core.outcome is not Outcome.ANSWERED:
            raise command_unanswered(core, text, self.pacing, self.profile.rules.form.charset)
        return core

    def ask(
        self,
        text: str,
        reach: Reach | None = None,
        on_answer: Callable[[bytes], None] | None = None,
    ) -> str:
        """Type a direct command and return its answer without the last prompt. Raises LinkError."""
        return self.body(self.command(text, reach, on_answer).answer)

    def body(self, answer: bytes) -> str:
        """Return an answer as text, without the prompt after it and any prompt before it."""
        ends = (self.pacing.ready, self.pacing.prompt)
        end = next((end for end in ends if end and answer.endswith(end)), b"")
        body = answer.removesuffix(end)
        if self.pacing.prompt and (rows := body.lstrip(b"\r\n")).startswith(self.pacing.prompt):
            body = rows.removeprefix(self.pacing.prompt)
        return to_text(body, self.profile.rules.form.charset)

    def refusal_in(self, answer: bytes) -> str:
        """Return the row that refuses a line, safe to print, or "" if the board said nothing.

        This is the row that begins with a known error word, else the last one, because some boards
        repeat the line first.
        """
        known = self.profile.commands
        rows = rows_of(self.body(answer))
        rows = [row for row in rows if row.strip() and not is_own(row, known.answer_rows)]
        errors = [row for row in rows if known.error_words and row.startswith(known.error_words)]
        return safe((errors or rows)[-1]) if rows else ""

    def command_text(self, command: str) -> str:
        """Return the text of a command in the profile. Raises RefusedError if it names none.

        command: a field of Commands that PURPOSES describes.
        """
        text = str(getattr(self.profile.commands, command))
        if not text:
            raise RefusedError(
                f"No command to {PURPOSES[command]} is known for this board.",
                kept=UNTOUCHED,
                advice=f"Name it as {command} in the board's profile.",
            )
        return text

    def clear(self) -> None:
        """Clear the program memory.

        On a board of unknown kind the other usual command is tried if the first is refused. Raises
        NotClearedError if the board refuses every time and still lists lines.
        """
        command = self.command_text("clear")
        others = CLEARING if self.profile.is_unmeasured else ()
        refusals: list[str] = []
        words = tuple(dict.fromkeys((command, *others)))
        for word in words:
            for _ in range(_CLEARINGS):
                said = self.refusal_in(self.command(word).answer)
                if not said or self._is_empty():
                    if word != command and not said:
                        commands = replace(self.profile.commands, clear=word)
                        self.profile = replace(self.profile, commands=commands)
                    return
            refusals.append(said)
        raise NotClearedError(
            f"The board does not clear its memory on {safe(' or '.join(words))}: it answers "
            f'"{refusals[0]}".',
            advice="If another word clears it, name that word as clear in its profile.",
        )

    def _is_empty(self) -> bool:
        """Return whether one answer to LIST, or the free memory, shows an empty program."""
        reading = self.read_listing()
        return reading.is_bare or (not reading.lines and ask_witness(self, {}).agrees)

    def free_memory(self) -> int | None:
        """Return the bytes free that the board reports; None if not asked, or if it names none."""
        command, form = self.profile.commands.free_memory, self.profile.commands.free_answer
        return free_bytes(rows_of(self.ask(command)), form) if command else None

    def take_own_row(self, row: str) -> None:
        """Treat a row beside the listing, with any number in it, as the board's own from now on."""
        shown = f'The board shows "{safe(row)}" with its listing'
        self.emit(Warned(f"{shown}; that row does not belong to the program."))
        commands = self.profile.commands
        commands = replace(commands, answer_rows=(*commands.answer_rows, shape_of(row)))
        self.profile = replace(self.profile, commands=commands)

    # --- captures ----------------------------------------------------------------------------

    def read_listing(self) -> Reading:
        """Ask for the program and return the answer, whatever it is.

        Ask again if a row of the profile's idle_chatter came within it. Raises ReadBackError if one
        always does, LinkError if the question cannot be typed or its answer does not end.
        """
        kept = self.evidence.unless_damaged(STILL_ON_BOARD)
        return unbroken(self._read_listing, self.profile, kept)

    def _read_listing(self) -> Reading:
        """Ask for the program once."""
        command = self.command_text("list")
        most = _LIST_MOST_BYTES + 8 * self.profile.rules.storage.program_bytes
        reach = Reach(
            silence_s=max(_LIST_SILENCE_S, self.pacing.patience_s),
            longest_s=30.0 + most * self.pacing.byte_s,
            most_bytes=most,
        )
        core = self.command(command, reach)
        paged = with_paging(self.profile, core, clean=not self.evidence.total)
        if paged is not None:
            self.emit(Warned("The board stops its listing after each page; hostlink continues it."))
            self.profile, self.pacing = paged, pacing_of(paged)
            core = self.command(command, reach)
        text = self.body(without_idle_end(core.answer, self.profile))
        return read_listing(text, self.profile, heard_right=not (core.repairs or core.nudged))

    def capture(self) -> Capture:
        """Read the program as often as the state of the wire requires, and return it.

        Raises ReadBackError if the readings cannot be made to agree, NotKnownError if the answers
        do not show what the board holds, LinkError if the board loses its memory meanwhile.
        """
        return Capturing(self).run()
