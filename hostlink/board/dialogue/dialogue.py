"""Talking to one board: what can be asked of it, in the words of its profile.

Everything here goes over one wire that stays open. Commands are typed with care (their echo is
right before the line end goes out). Board output is data: it is returned, never obeyed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from hostlink.advice import Advice, joined
from hostlink.board.dialogue.answers import free_bytes
from hostlink.board.dialogue.capturing import Capture, Capturing
from hostlink.board.dialogue.events import Emit, Warned, ignore
from hostlink.board.dialogue.evidence import Doubt, Evidence
from hostlink.board.dialogue.own_rows import is_own, shape_of
from hostlink.board.dialogue.paging import with_paging
from hostlink.board.dialogue.reading import Reading, read_listing, rows_of
from hostlink.board.dialogue.unreached import no_prompt
from hostlink.board.profile.model import Profile
from hostlink.errors import LinkError, LinkReason, NotClearedError, RefusedError
from hostlink.link.attaching import Waking
from hostlink.link.exchange import Exchange, Reach
from hostlink.link.pacing import Pacing
from hostlink.link.probe import Probe
from hostlink.link.regain import Found, Regain
from hostlink.link.typed import Outcome
from hostlink.link.wire import Wire
from hostlink.listing.charset import to_bytes, to_text
from hostlink.words import safe

_LIST_SILENCE_S = 2.0
_LIST_MOST_BYTES = 16_384
_LATE_S = 1.0  # stillness after which no listing comes any more: common practice, no source
_LATEST_S = 20.0  # of a listing that comes late
_CLEARINGS = 3  # times that a refused command to clear is given: the first may have been damaged
CLEARING = ("NEW", "SCR")  # NEW nearly everywhere; SCR: common practice, no source
NONSENSE = "QZ"  # no statement of any BASIC; two letters, as a name would be
_HEARINGS = 2
_UNTOUCHED = "The program on the board was not touched."


def pacing_of(profile: Profile, *, latency_s: float = 0.02) -> Pacing:
    """The link's view of a profile: seconds instead of milliseconds, and no more than it needs."""
    talk = profile.talk
    return Pacing(
        baud=talk.baud,
        echo=talk.echo,
        line_end=talk.line_end,
        reply_end=talk.reply_end,
        prompt=talk.prompt,
        ready=talk.ready,
        line_done=talk.line_done,
        after_prompt_s=(talk.after_prompt_ms or talk.line_ms) / 1000,
        receive_buffer=talk.receive_buffer,
        line_s=talk.line_ms / 1000,
        char_s=talk.char_ms / 1000,
        line_window=talk.line_window,
        xon_xoff=talk.flow == "xon-xoff",
        line_cancel=talk.line_cancel,
        erase=talk.erase,
        interrupt=talk.interrupt,
        full_sign=talk.full_sign,
        page_prompt=talk.page_prompt.encode("latin-1"),
        page_key=talk.page_key,
        latency_s=latency_s,
    )


class Dialogue:
    """A conversation with the board at the other end of `wire`."""

    def __init__(
        self,
        wire: Wire,
        profile: Profile,
        emit: Emit = ignore,
        *,
        evidence: Evidence | None = None,
    ) -> None:
        """evidence: what was noted over the same open port before, None for a new one."""
        self.wire = wire
        self.profile = profile
        self.pacing = pacing_of(profile)
        self.emit = emit
        self.evidence = evidence or Evidence(wire.health)
        self.silent_start = False  # nothing came while it was last listened to for a start
        self._restarts_seen = wire.health.restarts
        commands = profile.commands
        self.typed = {commands.list, commands.clear, commands.run, commands.free_memory} - {""}

    # --- the prompt --------------------------------------------------------------------------

    def attach(self, *, may_interrupt: bool = False, starting: bool = False) -> bool:
        """Get to a quiet prompt; returns whether the board was heard starting.

        starting: it has probably just been restarted, so listen first and send nothing. A board
        that is silent is listened to as well before it is given up: a bootloader answers nothing.
        Raises LinkError saying what was found instead.
        """
        woke = starting and self.listen_waking()
        core = self._look(may_interrupt=may_interrupt)
        if core.found in (Found.SILENT, Found.UNREADABLE) and not starting:
            woke = self.listen_waking()
            core = self._look(may_interrupt=may_interrupt)
        if core.found is not Found.PROMPT:
            raise no_prompt(core, self.profile, self.standing_row)
        self._restarts_seen = self.wire.health.restarts
        return woke

    def listen_waking(self) -> bool:
        """Listen for as long as a restart takes; whether one was heard.

        Nothing is sent but the answers to what this kind of board asks at its start.
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
        """As listen_waking, to a board whose prompt and banner are not known; whether it spoke."""
        core = Waking(
            self.pacing, banner=b"", restart_s=self.profile.talk.restart_ms / 1000, known=False
        )
        self.wire.run(core)
        self.silent_start = not core.heard
        return core.woke

    def regain(self, *, may_interrupt: bool) -> Regain:
        """Look for a quiet prompt in the middle of a job and return how that went.

        A board that shows none may be restarting, deaf until that is over: it is listened to for
        as long as a restart takes, and asked once more.
        """
        core = self._look(may_interrupt=may_interrupt)
        if core.found is not Found.PROMPT:
            self.listen_waking()
            core = self._look(may_interrupt=may_interrupt)
        return core

    def _look(self, *, may_interrupt: bool) -> Regain:
        core = Regain(self.pacing, may_interrupt=may_interrupt)
        self.wire.run(core)
        return core

    @property
    def standing_row(self) -> str:
        """The row on which the board stands, but for bells, safe to print; "" for none."""
        row = self.wire.recent.replace(b"\r", b"\n").rpartition(b"\n")[2].replace(b"\a", b"")
        return safe(to_text(row[-60:].strip(), self.profile.rules.form.charset))

    def restarted(self) -> bool:
        """Whether a restart was noticed since this was last asked."""
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
        """Type one line with care and collect the answer, however it ends."""
        data = to_bytes(text, self.profile.rules.form.charset)
        if not text[:1].isdigit():
            self.typed.add(text)
        core = Exchange(data, self.pacing, reach, on_answer=on_answer)
        self.wire.run(core)
        self.evidence.note(Doubt.RETYPED, core.repairs)
        self.evidence.note(Doubt.ASKED_AGAIN, core.nudged)
        if core.repairs and not (self.pacing.line_cancel or self.pacing.erase):
            self.evidence.disturbed()
        return core

    def ask(
        self,
        text: str,
        reach: Reach | None = None,
        on_answer: Callable[[bytes], None] | None = None,
    ) -> str:
        """Type a direct command; returns the answer without its last prompt.

        Raises LinkError where it could not be typed, or the answer does not end.
        """
        return self.body(self._asked(text, reach, on_answer).answer)

    def _asked(
        self,
        text: str,
        reach: Reach | None = None,
        on_answer: Callable[[bytes], None] | None = None,
    ) -> Exchange:
        core = self.exchange(text, reach, on_answer)
        if core.outcome is Outcome.ANSWERED:
            return core
        if core.outcome is Outcome.DEAF:
            raise LinkError(
                f'The board does not take "{safe(text)}": its memory is so full that it takes '
                "nothing any more.",
                reason=LinkReason.FULL,
                advice="Only a restart helps; the program in its memory is lost by it.",
            )
        if core.outcome is Outcome.UNTYPED:
            raise LinkError(
                f'"{safe(text)}" could not be typed right; the wire damages bytes.',
                reason=LinkReason.DAMAGED,
                advice="Check the cable and the speed.",
            )
        if core.outcome is Outcome.FLOODING:
            raise LinkError(
                f'The board does not stop sending after "{safe(text)}".',
                reason=LinkReason.FLOODING,
                advice="Interrupt or restart the board and repeat the command.",
            )
        raise LinkError(
            f'The board took "{safe(text)}" but did not come back to its prompt.',
            reason=LinkReason.SILENT,
            advice=joined(
                self._waits_advice(core.answer),
                "Restart the board if it stays silent; its program is lost then.",
            ),
        )

    def _waits_advice(self, answer: bytes) -> Advice:
        """What helps where an answer stops in the middle of a row, as a listing by pages does."""
        row = answer.rpartition(self.pacing.reply_end)[2].strip()
        if not row or self.pacing.reply_end not in answer:
            return ""
        shown = safe(to_text(row[-40:], self.profile.rules.form.charset))
        return lambda by: (
            f'It stopped at "{shown}": if it waits for a key there, name both in its profile '
            f"(page_prompt, page_key), or let them be found {by.survey}."
        )

    def body(self, answer: bytes) -> str:
        """An answer as text, without its last prompt."""
        ends = (self.pacing.ready, self.pacing.prompt)
        end = next((end for end in ends if end and answer.endswith(end)), b"")
        body = answer.removesuffix(end)
        return to_text(body, self.profile.rules.form.charset)

    def refusal_in(self, answer: bytes) -> str:
        """The row by which the board refuses a line, safe to print; "" where it says nothing.

        It is the row that begins with a known error word, else the last: some boards repeat the
        line first.
        """
        known = self.profile.commands
        rows = [row for row in rows_of(self.body(answer)) if not is_own(row, known.answer_rows)]
        rows = [row for row in rows if row.strip()]
        errors = [row for row in rows if known.error_words and row.startswith(known.error_words)]
        return safe((errors or rows)[-1]) if rows else ""

    def can(self, command: str, what: str) -> str:
        """The profile's text for a command, or RefusedError where the board has none."""
        text = str(getattr(self.profile.commands, command))
        if not text:
            raise RefusedError(
                f"No command to {what} is known for this board.",
                kept=_UNTOUCHED,
            )
        return text

    def clear(self) -> None:
        """Empty the program memory.

        On a board of no known kind the other usual word is tried where the first is refused. Raises
        NotClearedError where the board refuses the command each time and still lists lines.
        """
        command = self.can("clear", "clear the program memory")
        others = CLEARING if self.profile.is_unmeasured else ()
        refusals: list[str] = []
        words = tuple(dict.fromkeys((command, *others)))
        for word in words:
            for _ in range(_CLEARINGS):
                said = self.refusal_in(self._asked(word).answer)
                if not said or not self.read_listing().lines:
                    if word != command and not said:
                        commands = replace(self.profile.commands, clear=word)
                        self.profile = replace(self.profile, commands=commands)
                    return
            refusals.append(said)
        raise NotClearedError(
            f"The board does not clear its memory by {safe(' or '.join(words))}: it says "
            f'"{refusals[0]}".',
            kept=_UNTOUCHED,
            advice="If it clears it by another word, name that as clear in its profile.",
        )

    def free_memory(self) -> int | None:
        """Bytes free by the board's own word; None where it has no such question or answer."""
        commands = self.profile.commands
        if not commands.free_memory:
            return None
        return free_bytes(rows_of(self.ask(commands.free_memory)), commands.free_answer)

    def take_own_row(self, row: str) -> None:
        """Take a row beside a listing, with any number in it, for the board's own from now on."""
        text = f'The board shows "{safe(row)}" with its listing: its own row, and no line of it.'
        self.emit(Warned(text))
        commands = self.profile.commands
        commands = replace(commands, answer_rows=(*commands.answer_rows, shape_of(row)))
        self.profile = replace(self.profile, commands=commands)

    # --- captures ----------------------------------------------------------------------------

    def read_listing(self) -> Reading:
        """Ask for the program once and return what the board answered, whatever that was.

        Raises LinkError where the question could not be typed or its answer does not end.
        """
        command = self.can("list", "list the program")
        most = _LIST_MOST_BYTES + 8 * self.profile.rules.storage.program_bytes
        reach = Reach(
            silence_s=max(_LIST_SILENCE_S, self.pacing.patience_s),
            longest_s=30.0 + most * self.pacing.byte_s,
            most_bytes=most,
        )
        core = self._asked(command, reach)
        paged = with_paging(self.profile, core, clean=not self.evidence.total)
        if paged is not None:
            self.emit(Warned("The board stops its listing page by page; hostlink lets it go on."))
            self.profile, self.pacing = paged, pacing_of(paged)
            core = self._asked(command, reach)
        heard_right = not (core.repairs or core.nudged)
        return read_listing(self.body(core.answer), self.profile, heard_right=heard_right)

    def is_heard(self) -> bool:
        """Whether a word that no BASIC knows is refused by an error word of the profile.

        On a board without echo that shows that what is typed arrives, so that a LIST which is
        answered by nothing was not lost on the way.
        """
        words = self.profile.commands.error_words
        answers = {self.refusal_in(self._asked(NONSENSE).answer) for _ in range(_HEARINGS)}
        return bool(words) and all(said.startswith(words) for said in answers)

    def late_answer(self) -> str:
        """Return what the board says after its prompt, for a second at least; "" if it is still.

        A board that prompts before it lists would look empty otherwise.
        """
        core = Probe(b"", self.pacing.byte_s, quiet_s=_LATE_S, longest_s=_LATEST_S)
        self.wire.run(core)
        return "".join(rows_of(to_text(core.heard, self.profile.rules.form.charset))[:1])

    def capture(self) -> Capture:
        """The program, read as often as the state of the wire calls for.

        Raises ReadBackError where readings cannot be made to agree, NotKnownError where what the
        board answers does not tell what it holds, LinkError where it loses its memory meanwhile.
        """
        return Capturing(self).run()
