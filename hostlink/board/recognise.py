"""Find out how an unknown board talks, in about a second.

Rules:

1. Nothing is typed that begins with a digit or changes a program: only empty lines, a direct
   remark, an unknown word, LIST, and the free-memory questions of kinds that talk like it.
2. Nothing is erased, because some boards step back beyond the line and lose their program. At a
   wrong speed only a carriage return is sent: it arrives as a digit at no other usual speed, and
   what arrives is refused as a line. A line feed arrives as digits at some lower speeds, so line
   feeds are tried from the highest speed down.
3. A speed is right if two empty lines get the same readable answer.
4. A board that prints by itself, all the time or now and then, or answers an empty line with a
   question, or all lines alike, runs a program. It gets nothing more unless it may be stopped.
5. The known kind that agrees with everything heard is chosen; if none does, the careful kind with
   the values that were heard.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Sequence

from hostlink.board.asking import LONGEST_S, ROW_EVERY_S, Asker
from hostlink.board.dialogue.answers import free_bytes
from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.dialogue.events import Emit, Phase, ignore
from hostlink.board.dialogue.heard_listing import is_listing, with_listing
from hostlink.board.dialogue.heard_talk import (
    HeardTalk,
    agrees,
    asks,
    asks_at_start,
    is_at_prompt,
    is_rows,
    looks_like_text,
    parts_of,
    rows_before,
    with_answers,
    with_heard_talk,
)
from hostlink.board.dialogue.no_prompt_errors import (
    all_comes_back,
    asks_for,
    is_changed,
    never_pauses,
    nothing_steady,
    only_bells,
    only_echo,
    program_runs,
    prompt_changes,
    silent_everywhere,
)
from hostlink.board.dialogue.reading import rows_of
from hostlink.board.profile.model import Profile
from hostlink.board.profile.schema import LONGEST_COMMAND
from hostlink.board.recognised import Recognised
from hostlink.errors import LinkError, LinkReason
from hostlink.link.port import TunablePort
from hostlink.link.wire import Wire

# The commonest speeds first, then the others of data sheet 8271H, section 20.10.
USUAL_SPEEDS = (
    9600, 115200, 57600, 19200, 38400, 4800, 2400, 230400, 14400, 28800, 76800, 1200, 300, 250000,
    500000, 1000000,
)  # fmt: skip
REMARK, _LIST, _NONSENSE = b"REM", b"LIST", NONSENSE.encode()
_CR, _LF = b"\r", b"\n"
_FAR = 1.5  # times a speed
_LISTEN_S = 0.1
_GLANCE_S = 0.4  # at each speed, until a board that sends by itself is readable
_QUOTED = 40  # bytes of what was heard that an error repeats
_SURE_BELLS = 2  # one may be damage
_MOST_ANSWERS = 4  # answers to empty lines until two agree: the first may end an open line
_STOPS = (b"\x03", b"#", b"\x1b")  # keys that stop a program: common practice, no source
_ROW_ENDS = (b"\r", b"\n")
_UNASKED_S = 1.5  # rows that a program prints now and then come further apart than answers
_LAST_LISTEN_S = 3.0
_LISTEN_RARE_S = 3 * ROW_EVERY_S
_READABLE = re.compile(rb"[\r\n][ -~]{4,}[\r\n]")  # a row of text between others


class Recogniser(Asker):
    """Recognises the board at the other end of a wire, at the speed of the port first.

    kinds: the profiles to consider, the likeliest first. careful: the profile that supplies the
    values that were not heard. starts: the board was just heard starting, so each of its questions
    may be a start question.
    """

    def __init__(
        self,
        wire: Wire,
        kinds: Sequence[Profile],
        careful: Profile,
        emit: Emit = ignore,
        *,
        may_stop: bool = False,
        starts: bool = False,
    ) -> None:
        known = (kind.talk.interrupt for kind in kinds if kind.talk.interrupt)
        super().__init__(wire, careful.talk.baud, (*_STOPS, *known))
        self._kinds = kinds
        self._careful = careful
        self._emit = emit
        self._may_stop = may_stop
        self._starts = starts
        self._questions: set[bytes] = set()  # in answer to empty lines
        self._prompts = b"", b""  # two consecutive ones
        self._echoing: list[int] = []  # speeds at which only the echo comes back
        self._printed = 0, b""  # a speed, and a row that came after only some empty lines

    def run(self, speeds: Sequence[int] = ()) -> Recognised:
        """Find how the board talks. speeds: to try, in order; () for the usual ones.

        Raises LinkError: RUNNING if a program runs or asks, UNREADABLE or SILENT if no speed gave a
        readable answer, FLOODING if bytes never stop, LOOPED if what is sent comes back.
        """
        self._emit(Phase("Finding out how this board talks"))
        before, order = self._baud, self._from_here(speeds or USUAL_SPEEDS)
        try:
            self._stop_or_refuse(order)
            for talk in self._speeds_heard(order):
                # Twice, since a failure after two equal answers may be one damaged byte.
                heard = self._listen_to_commands(talk) or self._listen_to_commands(talk)
                if heard is not None:
                    return self._match(heard)
                if talk.prompt in self._questions:
                    raise asks_for(talk.prompt, may_stop=self._may_stop)
            raise self._nothing()
        except LinkError as error:
            self._set_baud(before)
            if error.reason is LinkReason.TOO_LONG and self._printed[1]:
                raise program_runs(self._printed[1]) from error
            raise

    # --- speed, line end, prompt -------------------------------------------------------------

    def _speeds_heard(self, speeds: Sequence[int]) -> Iterator[HeardTalk]:
        """Yield how the board talks at each speed with a steady, readable answer to empty lines."""
        yield from self._answering(_CR, speeds)
        if listened := self._is_rarely_heard:
            yield from self._printing(speeds)
        yield from self._answering(_LF, sorted(speeds, reverse=True))
        if not listened and self._nothing().reason is LinkReason.UNREADABLE:
            yield from self._printing(speeds)

    def _answering(self, line_end: bytes, speeds: Sequence[int]) -> Iterator[HeardTalk]:
        """Yield how the board answers empty lines with this line end at each speed."""
        for baud in speeds:
            self._set_baud(baud)
            first = self._ask(line_end)
            if self._keeps_sending:
                self._stop_or_refuse(speeds)
            ends: list[tuple[bytes, bytes | None]] = [(line_end, first)]
            if first == line_end == _CR:
                # Only the echo came: the speed is right, and the line end may be the other one.
                ends = [(_LF, None), (_CR, first)]
            for end, heard in ends:
                talk = self._empty_lines(end, self._ask(end) if heard is None else heard)
                if talk is not None:
                    yield talk

    def _empty_lines(
        self, line_end: bytes, first: bytes, *, stopping: bool = False
    ) -> HeardTalk | None:
        """Return how the board answers two empty lines, or None if the answers are not text.

        first: the answer to one of them, which may repeat what was typed at wrong speeds. stopping:
        a program was just interrupted. Raises LinkError if a program prints or asks.
        """
        if not looks_like_text(first, strict=False) and not _READABLE.search(first):
            return None
        asked = parts_of(first)[2]
        is_row = first[:1] in _ROW_ENDS and looks_like_text(first) and not stopping
        if is_row and not asks_at_start(self._kinds, asked) and self._is_question(asked):
            return self._stopped(asks_for(asked, may_stop=self._may_stop))
        answers = [first]
        for _ in range(_MOST_ANSWERS):
            again = self._ask(line_end)
            if again == first and looks_like_text(again):
                end, rows, prompt = parts_of(again)
                if len(prompt) > LONGEST_COMMAND:
                    return None  # no profile could name it
                if self._is_question(prompt) and not stopping:
                    return self._stopped(asks_for(prompt, may_stop=self._may_stop))
                return HeardTalk(self._baud, line_end, False, end or b"\r\n", prompt, b"", rows)
            prompts = parts_of(first)[2], parts_of(again)[2]
            self._prompts = prompts if is_changed(*prompts) else self._prompts
            first = again
            answers.append(again)
        return None if stopping else self._stop_printing(answers)

    def _stop_printing(self, answers: Sequence[bytes]) -> HeardTalk | None:
        """Stop a program that prints now and then and return how the board talks; None without one.

        answers: to empty lines. Raises LinkError if it was not stopped.
        """
        rows = list(filter(is_rows, answers)) if not all(answers) else []
        if not rows or not self._printed[1]:
            unasked = self._listen(_UNASKED_S)
            if not is_rows(unasked):
                self._printed = (self._baud, rows[-1]) if rows else self._printed
                return None
            rows = [unasked]
        return self._stopped(program_runs(rows[-1]))

    def _printing(self, speeds: Sequence[int]) -> Iterator[HeardTalk]:
        """Stop a program that prints now and then, once it is heard; yield how the board talks.

        The speed changes after each row. Raises LinkError if the program was not stopped or if its
        output is not text.
        """
        if self._printed[1]:
            self._set_baud(self._printed[0])
            yield self._stopped(program_runs(self._printed[1]))
        longest_s = _LISTEN_RARE_S if self._is_rarely_heard else _LAST_LISTEN_S
        self._emit(Phase("Listening for what the board sends by itself", longest_s))
        ends, tried = self._wire.now() + longest_s, list[int]()
        for baud in speeds:
            self._set_baud(baud)
            heard = self._listen_for_rows(ends)
            if not heard:
                break
            if is_rows(heard):
                yield self._stopped(program_runs(heard))
            tried.append(baud)
        if tried:
            raise never_pauses(unasked=True, at=tuple(tried) if len(tried) < len(speeds) else ())

    def _stopped(self, refusal: LinkError) -> HeardTalk:
        """Send the interrupt keys if allowed; return how the board talks then, or raise refusal."""
        asking = None  # a prompt may look like a question
        for key in self._stop_keys if self._may_stop else ():
            self._ask(key)
            for line_end in (_CR, _LF):
                talk = self._empty_lines(line_end, self._ask(line_end), stopping=True)
                if talk is not None and talk.prompt not in self._questions:
                    return talk
                asking = asking or talk
        if asking is not None:
            return asking
        raise refusal

    def _is_question(self, prompt: bytes) -> bool:
        """Return whether a prompt is a program's question; a first one may be a start question."""
        if not asks(prompt) or any(prompt == kind.talk.prompt for kind in self._kinds):
            return False
        is_new = prompt not in self._questions
        self._questions.add(prompt)
        # A board that asks several things at its start asks another one after an empty line.
        return not ((self._may_stop or self._starts) and is_new)

    # --- echo, and what comes after a command ------------------------------------------------

    def _listen_to_commands(self, talk: HeardTalk) -> HeardTalk | None:
        """Return how the board answers a remark and an unknown word, or None if unreadable."""
        echo, done = self._command(REMARK, talk.line_end)
        refused = self._command(_NONSENSE, talk.line_end)[1]
        if echo and echo.upper() != REMARK:
            return None
        if any(answer and not looks_like_text(answer, strict=False) for answer in (done, refused)):
            return None
        if echo and done == refused == talk.line_end and not talk.prompt:
            # A nearly right speed can look the same, but not two speeds that differ much.
            self._echoing.append(talk.baud)
            if max(self._echoing) > _FAR * min(self._echoing):
                raise self._nothing()
            return None
        if talk.prompt and not done.endswith(talk.prompt):
            return None
        end = parts_of(done)[0] if echo else b""
        heard = dataclasses.replace(talk, echo=bool(echo), reply_end=end or talk.reply_end)
        alike = talk.prompt or (b"" if parts_of(done)[1] else parts_of(done)[2])
        if done == refused and alike[-1:] in _ROW_ENDS:
            # No BASIC answers a remark and an unknown word by the same row: a program asks. But a
            # BASIC without remarks refuses both, before the row that answers an empty line.
            refuses = talk.prompt and rows_before(refused, talk.prompt)
            if not refuses or not is_listing(self._say(_LIST, then=talk.line_end), talk.prompt):
                given = f"empty lines, REM{', QZ and LIST' if refuses else ' and QZ'}"
                raise asks_for(alike, may_stop=self._may_stop, given=given)
        if talk.prompt in self._questions and not is_at_prompt(talk.prompt, done, refused):
            return None
        return with_answers(heard, done, refused)

    # --- the kind ----------------------------------------------------------------------------

    def _match(self, talk: HeardTalk) -> Recognised:
        """Choose the kind that agrees with everything heard, and ask what only it would answer."""
        for kind in (each for each in self._kinds if agrees(each, talk)):
            question = kind.commands.free_memory
            if not question:
                return Recognised(_at(kind, talk.baud), talk, known=True)
            answer = self._command(question.encode("latin-1"), talk.line_end)[1]
            free = free_bytes(rows_of(answer.decode("latin-1")), kind.commands.free_answer)
            if free is not None:
                return Recognised(_at(kind, talk.baud), talk, known=True, free=free)
        profile = with_heard_talk(self._careful, talk, is_named=self._careful in self._kinds)
        return Recognised(with_listing(profile, talk, self._say), talk, known=False)

    def _stop_or_refuse(self, speeds: Sequence[int]) -> None:
        """Stop a board that sends by itself, or raise LinkError if that is not allowed.

        The speeds are tried until the bytes are text; nothing is sent before that.
        """
        before, longest_s = self._baud, LONGEST_S
        for baud in speeds:
            self._set_baud(baud)
            core = self._probe(b"", quiet_s=_LISTEN_S, longest_s=longest_s)
            if len(core.arrivals) <= 2 or not core.overdue:
                self._set_baud(before)
                return
            last = b"".join(data for _, data in core.arrivals[1:])[-_QUOTED:]
            if looks_like_text(last):  # what came first may be from before the change of speed
                if self._may_stop and self._stops():
                    return
                raise program_runs(last)
            longest_s = _GLANCE_S
        raise never_pauses()

    def _nothing(self) -> LinkError:
        if self._echoing:
            is_tunable = isinstance(self._wire.port, TunablePort)
            one = is_tunable and max(self._echoing) <= _FAR * min(self._echoing)
            return only_echo(self._echoing[0]) if one else all_comes_back()
        if is_changed(*self._prompts):
            return prompt_changes(*self._prompts)
        if max(self._bells.values(), default=0) >= _SURE_BELLS:
            return only_bells()
        if self._answered:
            return nothing_steady(self._wire.recent[-_QUOTED:])
        return silent_everywhere()


def _at(kind: Profile, baud: int) -> Profile:
    return dataclasses.replace(kind, talk=dataclasses.replace(kind.talk, baud=baud))
