"""Talking to one board: what can be asked of it, in the words of its profile.

Everything here goes over one wire that stays open. Commands are typed with care (their echo is
right before the line end goes out). Board output is data: it is returned, never obeyed.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from hostlink.board.captures import Tally
from hostlink.board.capturing import Capturing
from hostlink.board.events import Emit, ignore
from hostlink.board.listed import Listed, read_listed, rows_of, shown
from hostlink.board.profile import Profile
from hostlink.errors import LinkError, LinkReason, RefusedError
from hostlink.link.attaching import Waking
from hostlink.link.exchange import Exchange, Outcome, Reach
from hostlink.link.pacing import Pacing
from hostlink.link.regain import Found, Regain
from hostlink.link.wire import Wire
from hostlink.listing.charset import to_bytes, to_text
from hostlink.listing.parse import Line

_LIST_SILENCE_S = 2.0
_LIST_MOST_BYTES = 16_384
_MOST_REFUSALS = 12  # answers to LIST that are words, not lines
_SAME, _SAME_ERRORS = 3, 5  # of them alike, and the program is empty; where they are errors
_WHOLE_NUMBER = re.compile(r"\s*(\d{1,7})\s*")
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
        line_done=talk.line_done,
        after_prompt_s=talk.after_prompt_ms / 1000,
        receive_buffer=talk.receive_buffer,
        line_s=talk.line_ms / 1000,
        char_s=talk.char_ms / 1000,
        line_window=talk.line_window,
        xon_xoff=talk.flow == "xon-xoff",
        line_cancel=talk.line_cancel,
        erase=talk.erase,
        interrupt=talk.interrupt,
        page_prompt=talk.page_prompt.encode("latin-1"),
        page_key=talk.page_key,
        latency_s=latency_s,
    )


class Dialogue:
    """A conversation with the board at the other end of `wire`."""

    def __init__(self, wire: Wire, profile: Profile, emit: Emit = ignore) -> None:
        self.wire = wire
        self.profile = profile
        self.pacing = pacing_of(profile)
        self.emit = emit
        self._restarts_seen = wire.health.restarts
        self.listed = Listed({}, (), ())  # the last capture
        self.disturbances = 0  # times that a line may have been entered as another one before
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
            raise self._no_prompt(core)
        self._restarts_seen = self.wire.health.restarts
        return woke

    def listen_waking(self) -> bool:
        """Listen, sending nothing, for as long as a restart takes; whether one was heard."""
        talk = self.profile.talk
        core = Waking(self.pacing, banner=self.wire.banner, restart_s=talk.restart_ms / 1000)
        self.wire.run(core)
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

    def _no_prompt(self, core: Regain) -> LinkError:
        talk = self.profile.talk
        if core.found is Found.SILENT:
            return LinkError(
                f"The board is silent: nothing came back at {talk.baud} baud.",
                reason=LinkReason.SILENT,
                kept=_UNTOUCHED,
                advice="Check its supply and the cable, and that this is the right port and speed "
                "(--port, --baud).",
            )
        if core.found is Found.UNREADABLE:
            return LinkError(
                f"Nothing readable came back at {talk.baud} baud.",
                reason=LinkReason.UNREADABLE,
                kept=_UNTOUCHED,
                advice="The board probably talks at another speed: try --baud.",
            )
        heard = shown(to_text(bytes(core.heard[-40:]), "latin-1"))
        if core.found is Found.RUNNING:
            return LinkError(
                f'The board does not show the prompt of profile {self.profile.name}; it last sent "'
                f'{heard}". A program may be running or waiting for input.',
                reason=LinkReason.RUNNING,
                kept="It was left as it is.",
                advice="If it may be stopped (its variables may be lost), repeat with "
                "--stop-running; if it is another kind of board, name its --profile.",
            )
        return LinkError(
            "The board does not come to its prompt, even when interrupted; it last sent "
            f'"{heard}".',
            reason=LinkReason.RUNNING,
            kept=_UNTOUCHED,
            advice="Check that the profile fits this board (--profile).",
        )

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
        self.wire.health.disagreements += core.repairs + core.nudged
        can_undo = self.pacing.line_cancel or self.pacing.erase
        self.disturbances += bool(core.repairs) and not can_undo
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
        core = self.exchange(text, reach, on_answer)
        if core.outcome is Outcome.ANSWERED:
            return self.body(core.answer)
        if core.outcome is Outcome.UNTYPED:
            raise LinkError(
                f'"{shown(text)}" could not be typed right; the wire damages bytes.',
                reason=LinkReason.DAMAGED,
                advice="Check the cable and the speed.",
            )
        if core.outcome is Outcome.FLOODING:
            raise LinkError(
                f'The board does not stop sending after "{text}".',
                reason=LinkReason.FLOODING,
                advice="Interrupt or restart the board and repeat the command.",
            )
        raise LinkError(
            f'The board took "{text}" but did not come back to its prompt.',
            reason=LinkReason.SILENT,
            advice="Restart the board if it stays silent; its program is lost then.",
        )

    def body(self, answer: bytes) -> str:
        """An answer as text, without its last prompt."""
        prompt = self.pacing.prompt
        body = answer[: -len(prompt)] if prompt and answer.endswith(prompt) else answer
        return to_text(body, self.profile.rules.form.charset)

    def can(self, command: str, what: str) -> str:
        """The profile's text for a command, or RefusedError where the board has none."""
        text = str(getattr(self.profile.commands, command))
        if not text:
            raise RefusedError(
                f"Boards of profile {self.profile.name} cannot {what}.",
                kept=_UNTOUCHED,
            )
        return text

    def clear(self) -> None:
        """Empty the program memory."""
        self.ask(self.can("clear", "clear their program memory"))

    def free_memory(self) -> int | None:
        """Bytes free by the board's own word; None where it has no such question or answer."""
        question = self.profile.commands.free_memory
        if not question:
            return None
        for row in rows_of(self.ask(question)):
            if match := _WHOLE_NUMBER.fullmatch(row):
                return int(match[1])
        return None

    # --- captures ----------------------------------------------------------------------------

    def list_once(self) -> dict[int, Line]:
        """The program as the board lists it, read once: line number to line.

        Where no line comes, but other words, the question may have been damaged and the board may
        have refused it: that is not an empty program until it said the same again and again.
        Raises LinkError where it goes on saying other things.
        """
        command = self.can("list", "list their program")
        most = _LIST_MOST_BYTES + 8 * self.profile.rules.storage.program_bytes
        reach = Reach(
            silence_s=max(_LIST_SILENCE_S, self.pacing.patience_s),
            longest_s=30.0 + most * self.pacing.byte_s,
            most_bytes=most,
        )
        errors = tuple(self.profile.commands.error_words)
        alike = 0
        for _ in range(_MOST_REFUSALS):
            before = self.listed.said
            self.listed = read_listed(self.ask(command, reach), self.profile)
            said = self.listed.said
            if self.listed.lines or not said:
                return self.listed.lines
            alike = alike + 1 if said == before and alike else 1
            if alike >= (_SAME_ERRORS if any(row.startswith(errors) for row in said) else _SAME):
                return self.listed.lines
        raise LinkError(
            f'The board did not list its program; it said "{shown(said[0][:60])}".',
            reason=LinkReason.DAMAGED,
            kept=_UNTOUCHED,
            advice="Check the cable and the speed, then try again.",
        )

    def capture(self) -> Tally:
        """The program, proven by as many captures as the state of the wire calls for.

        Raises ReadBackError where they cannot be made to agree, LinkError where the board loses
        its memory meanwhile.
        """
        return Capturing(self).run()
