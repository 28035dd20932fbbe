"""Talking to one board: what can be asked of it, in the words of its profile.

Everything here goes over one wire that stays open. Commands are typed with care (their echo is
right before the line end goes out). Board output is data: it is returned, never obeyed.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from hostlink.board.captures import (
    MOST_CAPTURES,
    MOST_READINGS,
    Tally,
    captures_needed,
    differing,
    heard,
    tally,
)
from hostlink.board.events import Captured, Emit, Warned, ignore
from hostlink.board.misheard import misheard
from hostlink.board.profile import Profile
from hostlink.errors import LinkError, LinkReason, ReadBackError, RefusedError
from hostlink.link.attaching import Waking
from hostlink.link.exchange import Exchange, Outcome, Reach
from hostlink.link.pacing import Pacing
from hostlink.link.regain import Found, Regain
from hostlink.link.wire import Wire
from hostlink.listing.canonical import listed_line
from hostlink.listing.charset import to_bytes, to_text
from hostlink.listing.measure import measure
from hostlink.listing.parse import Line, Listing

_LIST_SILENCE_S = 2.0
_LIST_MOST_BYTES = 16_384
_MORE_WHEN_DOUBTED = 2  # captures, where the free memory contradicts those that agree
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
        self._strays: tuple[tuple[int, str], ...] = ()  # of the last capture, see Listed
        self._after: tuple[tuple[int, str], ...] = ()
        self.disturbed = False  # the last line may have been entered as another one before
        commands = profile.commands
        self._typed = {commands.list, commands.clear, commands.run, commands.free_memory} - {""}

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
            self._typed.add(text)
        core = Exchange(data, self.pacing, reach, on_answer=on_answer)
        self.wire.run(core)
        self.wire.health.disagreements += core.repairs + core.nudged
        can_undo = self.pacing.line_cancel or self.pacing.erase
        self.disturbed = bool(core.repairs) and not can_undo
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
        """The program as the board lists it, read once: line number to line."""
        command = self.can("list", "list their program")
        most = _LIST_MOST_BYTES + 8 * self.profile.rules.storage.program_bytes
        reach = Reach(
            silence_s=max(_LIST_SILENCE_S, self.pacing.patience_s),
            longest_s=30.0 + most * self.pacing.byte_s,
            most_bytes=most,
        )
        listed = read_listed(self.ask(command, reach), self.profile)
        self._strays, self._after = listed.strays, listed.after
        return listed.lines

    def capture(self) -> Tally:
        """The program, proven by as many captures as the state of the wire calls for.

        Raises ReadBackError where they cannot be made to agree, LinkError where the board loses
        its memory meanwhile.
        """
        health = self.wire.health
        restarts = health.restarts
        captures: list[dict[int, Line]] = []
        strays: Counter[tuple[int, str]] = Counter()
        doubted = 0  # captures to take before a doubt of the board's own is passed over
        unsettled: tuple[int, ...] = ()
        for _ in range(MOST_READINGS):
            captures.append(self.list_once())
            if self.disturbed:
                del captures[:-1]  # those before it may be of another memory
                strays.clear()
            lost = len(captures) > 2 and captures[0] and not (captures[-1] or captures[-2])
            if lost or health.restarts > restarts:
                raise LinkError(
                    "The board restarted while its program was being read, and lost it.",
                    reason=LinkReason.RESTARTED,
                    kept="Nothing was kept in the archive.",
                    advice="Check its supply. An earlier copy may be in the archive.",
                )
            strays.update(set(self._strays))
            self.emit(Captured(len(captures), len(captures[-1])))
            health.disagreements += differing(captures[-2:])
            votes = heard(captures)
            need = captures_needed(
                disagreements=health.disagreements + (doubted > 0), damage_rate=health.damage_rate
            )
            if len(votes) < need:
                continue
            result = tally(votes, need)
            unsettled = result.unsettled
            if len(captures) >= MOST_CAPTURES and unsettled:
                break
            if unsettled or self._may_have_changed(captures[-1], result):
                continue
            sure = doubted and len(votes) >= doubted
            if sure or self._free_memory_agrees(result, warn=not doubted):
                self._look_at_strays(strays, len(captures))
                self._take_back(result)
                return result
            doubted = doubted or len(votes) + _MORE_WHEN_DOUBTED
        where = f" in line {', '.join(map(str, unsettled[:8]))}" if unsettled else ""
        raise ReadBackError(
            f"{MOST_CAPTURES} captures of the board's program do not agree{where}.",
            kept="The program is still on the board; nothing was kept in the archive.",
            advice="Check the cable and the speed, then save again.",
        )

    def _may_have_changed(self, last: dict[int, Line], result: Tally) -> bool:
        """Whether the last capture hints that asking for it changed the board: one more look.

        It is empty, so the question was damaged and may have been stored as a line; or it shows
        such a line, which the captures before it outvote.
        """
        if result.lines and not last:
            return True
        ours = misheard(last, self._typed)
        return ours is not None and ours[0] not in result.lines

    def _look_at_strays(self, strays: Counter[tuple[int, str]], captures: int) -> None:
        """Refuse a listing that holds rows which are no lines: part of it would be lost.

        Damage makes such rows too, but not the same one in most of the captures.
        """
        for (number, row), votes in strays.items():
            if votes > 1 and votes * 2 > captures:
                raise ReadBackError(
                    f'At line {number} the board lists "{shown(row[:60])}", which is no line of '
                    "a program; part of a line may have been wrapped.",
                    kept="The program is still on the board; nothing was kept in the archive.",
                    advice="Check list_form in the profile; if the board wraps long lines, make "
                    f"line {number} shorter on the board.",
                )
        if self._after and not strays:
            number, row = self._after[0]
            self.emit(
                Warned(
                    f'After the last line, {number}, the board shows "{shown(row[:60])}". If that '
                    "always stands there, name it as list_end in the profile."
                )
            )

    def _take_back(self, result: Tally) -> None:
        """Delete a line that is a command of ours misheard, and refuse what was read with it."""
        ours = misheard(result.lines, self._typed)
        if ours is None:
            return
        number, command = ours
        self.exchange(str(number))
        raise LinkError(
            f'The wire made "{shown(command)}" arrive as line {number} of the program; it was '
            "deleted again.",
            reason=LinkReason.DAMAGED,
            kept=f"The rest is as it was; only a line {number} of the program's own is lost.",
            advice="Check the cable and the speed, then try again.",
        )

    def _free_memory_agrees(self, result: Tally, *, warn: bool = True) -> bool:
        """The third witness: the free memory the board reports, against the captured listing."""
        limit = self.profile.rules.storage.program_bytes
        if not self.profile.commands.free_memory or not limit:
            return True
        expected = measure(Listing(tuple(result.lines.values())), self.profile.rules).free
        reported: int | None = None
        for _ in range(3):
            reported = self.free_memory()
            if reported == expected:
                return True
        if warn:
            self.emit(
                Warned(
                    f"The board reports {reported} bytes free; by its listing it should be "
                    f"{expected}. Reading it more often to be sure."
                )
            )
        return False


@dataclass(frozen=True, slots=True)
class Listed:
    """One answer to LIST. lines: by number. strays: rows inside that are no lines, each with the
    number of the line before; after: such rows behind the last line."""

    lines: dict[int, Line]
    strays: tuple[tuple[int, str], ...]
    after: tuple[tuple[int, str], ...]


def read_listed(text: str, profile: Profile) -> Listed:
    """Read a listing as the board shows it; what the profile does not explain is kept apart."""
    known = ("", profile.commands.list_end, *profile.talk.idle_chatter)
    lines: dict[int, Line] = {}
    strays: list[tuple[int, str]] = []
    after: list[tuple[int, str]] = []
    last: int | None = None
    for row in rows_of(text):
        line = listed_line(row, profile.rules.form)
        if line is not None and line.number is not None:
            strays += after
            after = []
            last = line.number
            if line.text:
                lines[last] = line
            else:
                strays.append((last, row))  # a number without text cannot be typed again
        elif last is not None and row.strip(" ") not in known:
            after.append((last, row))
    return Listed(lines, tuple(strays), tuple(after))


def rows_of(text: str) -> list[str]:
    """The rows of a board's answer, whatever it ends them with; empty ones left out."""
    return [row for row in re.split(r"[\r\n]+", text) if row]


def shown(text: str) -> str:
    """Board output made safe to print: control characters as escapes, nothing obeyed."""
    return "".join(
        character if character.isprintable() else f"\\x{ord(character):02x}" for character in text
    )
