"""Making a board hold exactly one program, proven by reading it back.

Rules:
1. The first pass goes fast (hostlink.link.sender). Its first sign of damage stops it.
2. After damage: wait until quiet, regain the prompt (interrupting is allowed, since what runs was
   started by our damage), capture, compute the difference, and send that with care.
3. A read-back ends every pass; only it decides. Lines that are wrong are sent again, lines that do
   not belong are deleted, at most MOST_ROUNDS times.
4. Where the board restarted, or the rounds are used up, everything starts over from an empty
   memory, at most MOST_STARTS times in all. Then the load fails, naming what the board holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from hostlink.advice import Advice
from hostlink.board.dialogue.captures import Verdict, standing_rows, verdict, voting, whole
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Warned
from hostlink.board.dialogue.evidence import Doubt
from hostlink.board.dialogue.learning import BoardRewritesError, Learned, learn
from hostlink.board.dialogue.next_step import Case, Next, next_step
from hostlink.board.dialogue.own_rows import is_count
from hostlink.board.dialogue.reading import Reading
from hostlink.board.dialogue.unreached import lost_prompt
from hostlink.errors import LinkError, LinkReason, NotClearedError, ReadBackError, RefusedError
from hostlink.link.regain import Found
from hostlink.link.sender import Sender
from hostlink.link.typed import Outcome
from hostlink.listing.canonical import canonical_lines
from hostlink.listing.charset import to_bytes
from hostlink.listing.parse import Line

MOST_ROUNDS = 4
MOST_STARTS = 3
_MOST_NOT_WHOLE = 8  # captures, on a board that says something else around its listing each time
_SHORTEST_REFUSAL = 8  # characters, longer than what damage leaves of a prompt
_MAY_PASS = (LinkReason.SILENT, LinkReason.DAMAGED, LinkReason.FLOODING)


@dataclass
class LoadReport:
    """How a load went. bytes: of the listing, line ends included. repairs: lines sent again.

    seconds: from the first byte of the listing to its last confirmation on a fast pass, else None.
    """

    lines: int = 0
    bytes: int = 0
    repairs: int = 0
    starts: int = 0
    captures: int = 0
    seconds: float | None = None
    answers: dict[int, str] = field(default_factory=dict)


class _StartOver(Exception):
    """The state of the board cannot be known any more."""


class Loader:
    """Loads one program: line number to line as typed."""

    def __init__(self, dialogue: Dialogue, target: Mapping[int, Line]) -> None:
        self._dialogue = dialogue
        self._rules = dialogue.profile.rules
        self._target = dict(sorted(target.items()))
        self._canonical = canonical_lines(self._target, self._rules)
        self._wire = dialogue.wire
        end = dialogue.pacing.line_end
        self.report = LoadReport(
            lines=len(self._target), bytes=sum(len(self._data(n)) + len(end) for n in self._target)
        )
        self._sent_bytes = 0
        self._verdict = Verdict((), (), ())
        self._at: int | None = None  # the line at which fast sending stopped
        self._readings: list[Reading] = []  # of the last read-back
        self._before: Learned | None = None  # what the read-back before it came to

    def load(self, held: Mapping[int, Line] | None = None) -> LoadReport:
        """Load the program over whatever is there; returns once it is proven.

        held: what the board holds, if only the difference to it should be sent; None clears first.
        Raises ReadBackError where it cannot be proven, LinkError where the link fails.
        """
        while self.report.starts < MOST_STARTS:
            self.report.starts += 1
            try:
                if held is None:
                    self._dialogue.emit(Phase("Clearing the program memory"))
                    self._clear()
                    if self._rounds(list(self._target), [], fast=True):
                        return self.report
                else:
                    now = canonical_lines(held, self._rules)
                    if self._rounds(*self._difference(now), fast=False):
                        return self.report
            except _StartOver:
                pass
            except LinkError as error:
                if error.reason is LinkReason.FULL:
                    raise DeafError(self._at) from error
                raise
            held = None
            if self.report.starts < MOST_STARTS:
                self._warn("The board's state is not known any more; starting over.")
        raise self._failure()

    def differs(self, held: Mapping[int, Line]) -> bool:
        """Whether what a board lists is another program, by one reading."""
        return canonical_lines(held, self._rules) != self._canonical

    def added(self, held: Mapping[int, Line]) -> dict[int, Line]:
        """The lines on a board that are not in the program, or are others there."""
        now = canonical_lines(held, self._rules)
        return {n: line for n, line in held.items() if now.get(n) != self._canonical.get(n)}

    def _clear(self) -> None:
        """Clear memory. Raises NotClearedError only where nothing was sent before."""
        try:
            self._dialogue.clear()
        except NotClearedError as error:
            if self.report.starts == 1:
                raise
            raise RefusedError(error.what, advice=error.advice) from error

    # --- rounds ------------------------------------------------------------------------------

    def _rounds(self, send: list[int], delete: list[int], *, fast: bool) -> bool:
        """Send, read back, send the difference with care; True once proven."""
        for _ in range(1 + MOST_ROUNDS):
            sent = self._send_fast(send) if fast else self._send_careful(send, delete)
            fast = False
            self._heed_restart()
            if not sent:
                self._regain()
                send, delete = self._difference(self._canonical_of(self._read(1)))
                continue
            deleted = delete
            self._verdict = self._read_back()
            if self._learn_own_row(deleted):
                self._verdict = self._read_back()
            if self._verdict.proven:
                self._learn_around()
                return True
            self._heed_rewriting()
            send, delete = list(self._verdict.wrong), list(self._verdict.stray)
            send += [n for n in self._verdict.unsettled if n in self._target]
            delete += [n for n in self._verdict.unsettled if n not in self._target]
        return False

    def _learn_own_row(self, deleted: list[int]) -> bool:
        """Whether a row at an end of the listing was found to be no line: it reads as words, and
        stays though its number was deleted."""
        count = self._count()
        if count is None or count.number not in deleted:
            return False
        self._dialogue.take_own_row(count.typed)
        return True

    def _learn_around(self) -> None:
        """Take the rows that stand beside the proven program for the board's own, where nobody has
        measured these."""
        if self._dialogue.profile.is_unmeasured:
            for row in sorted(standing_rows(self._readings) & set(self._readings[-1].around)):
                self._dialogue.take_own_row(row)

    def _count(self) -> Line | None:
        """A first or last line of the last reading that was not sent and reads as words."""
        reading = self._readings[-1]
        ends = (*reading.order[-1:], *reading.order[:1])
        lines = [reading.lines[end] for end in ends if isinstance(end, int)]
        language = self._rules.language
        return next(
            (
                each
                for each in lines
                if each.number not in self._target and is_count(each.typed, language)
            ),
            None,
        )

    def _heed_restart(self) -> None:
        if self._dialogue.restarted():
            self._warn("The board restarted and lost its program memory.")
            raise _StartOver

    def _heed_rewriting(self) -> None:
        """Stop where the board holds something else the same way twice: that is its own doing.

        On a wire against which nothing else was noted, and with its echo right, one round shows
        what many lines have in common; else the lines have been sent again in between.
        """
        if len(self._readings) < 2 or self._readings[-1].rows != self._readings[-2].rows:
            return
        if self._count() is not None:  # it is deleted first, which no row of the board's own heeds
            return
        learned = learn(self._target, self._readings[-1].rows, self._rules)
        evidence = self._dialogue.evidence
        steady = evidence.total == evidence.notes[Doubt.NOT_AS_SENT] and self._dialogue.pacing.echo
        before, self._before = self._before, learned
        if learned == before or (steady and learned.explains_all and learned.is_plain):
            raise BoardRewritesError(learned, self.report.answers)

    def _regain(self) -> None:
        core = self._dialogue.regain(may_interrupt=True)
        if core.found is Found.PROMPT:
            return
        raise lost_prompt(core, self._dialogue.pacing.prompt, self._dialogue.standing_row)

    def _send_fast(self, numbers: list[int]) -> bool:
        """Send lines as fast as the board stores them; False at the first sign of damage."""
        self._dialogue.emit(Phase("Sending"))
        began = self._sent_bytes

        def on_line(index: int, size: int) -> None:
            self._sent_bytes = began + size
            self._progress(numbers[index], index + 1, len(numbers))

        core = Sender([self._data(n) for n in numbers], self._dialogue.pacing, on_line=on_line)
        self._wire.run(core)
        if core.damage is None:
            if core.first_write is not None and core.last_confirm is not None:
                self.report.seconds = core.last_confirm - core.first_write
            return True
        self._dialogue.evidence.note(Doubt.LINE_DAMAGED)
        number = self._at = numbers[min(core.damage.line, len(numbers) - 1)]
        why = {"echo": "came back differently", "silent": "was not confirmed"}
        self._repaired(number, why.get(core.damage.kind, "was held up too long"))
        return False

    def _send_careful(self, send: list[int], delete: list[int]) -> bool:
        """Delete and send lines one by one, each right before it is committed."""
        if send or delete:
            self._dialogue.emit(Phase("Sending the difference with care"))
        for done, number in enumerate([*delete, *send], 1):
            removing = number not in self._target
            core = self._dialogue.exchange(str(number) if removing else self._target[number].typed)
            if core.repairs:
                self._repaired(number, "came back differently")
            said = self._dialogue.refusal_in(core.unprompted if core.nudged else core.answer)
            # Without a prompt behind it a short row may be what is left of a damaged prompt.
            if said and (not core.nudged or len(said) >= _SHORTEST_REFUSAL):
                self.report.answers[number] = said
            self._heed_full(number, said, core.outcome)
            if core.outcome is not Outcome.ANSWERED:
                return False
            self._progress(number, done, len(send) + len(delete))
        return True

    def _heed_full(self, number: int, said: str, outcome: Outcome) -> None:
        """Stop where a line did not fit."""
        commands = self._dialogue.profile.commands
        if said and said.startswith(commands.full_words):
            raise FullError(f'The board\'s memory is full: to line {number} it said "{said}".')
        if outcome is Outcome.DEAF:
            raise DeafError(number)

    # --- reading back ------------------------------------------------------------------------

    def _read_back(self) -> Verdict:
        """Read the program back until it is clear whether the board holds what was sent."""
        self._dialogue.emit(Phase("Reading back"))
        evidence, echo = self._dialogue.evidence, self._dialogue.pacing.echo
        disturbances = evidence.disturbances
        readings = self._readings = []
        taken = 0
        while True:
            taken += 1
            readings.append(self._read(taken))
            if evidence.disturbances > disturbances:
                disturbances = evidence.disturbances
                del readings[:-1]  # what was typed may be a line now
            votes = voting(readings)
            clean = evidence.agreeing_needed(echo=echo) == 1
            result = self._judge(votes, clean=clean)
            # One more look before anything is called wrong: on a clean wire this note calls for it.
            evidence.note_at_least(Doubt.NOT_AS_SENT, len(result.wrong) + len(result.stray))
            if not votes and _are_alike(readings):
                return result  # words that are no listing, or one of a form that is not known
            complete = not result.proven or self._shown_whole(votes, clean=clean)
            if not complete and len(readings) > 1:
                evidence.note(Doubt.OTHER_WORDS)  # a board's own words came twice by now
            case = Case(
                readings=taken,
                votes=len(votes),
                needed=evidence.agreeing_needed(echo=echo),
                in_doubt=bool(result.unsettled),
                # An empty answer among full ones: the question may have been stored as a line.
                steady=bool(readings[-1].lines) or not any(each.lines for each in votes),
                complete=complete or len(readings) >= _MOST_NOT_WHOLE,
            )
            match next_step(case):
                case Next.DONE:
                    return result
                case Next.GIVE_UP:
                    return result if not result.proven else self._judge((), clean=clean)
            if result.unsettled and len(votes) >= case.needed:
                evidence.note(Doubt.READINGS_DIFFER)

    def _judge(self, votes: Sequence[Reading], *, clean: bool) -> Verdict:
        if not votes:
            return Verdict((), (), tuple(self._canonical))
        return verdict([self._canonical_of(r) for r in votes], self._canonical, clean=clean)

    def _shown_whole(self, votes: Sequence[Reading], *, clean: bool) -> bool:
        """Whether enough readings have no row that could hide a line which does not belong."""
        # A reading that shows nothing of a program has no row that could hide a line of it.
        full = [each for each in votes if each.lines] if self._canonical else votes
        return whole([each.unexplained for each in full]) >= (1 if clean else 2)

    def _read(self, count: int) -> Reading:
        """Read the program once; a board that restarts or stalls is waited for."""
        try:
            reading = self._dialogue.read_listing()
        except LinkError as error:
            if error.reason not in _MAY_PASS:
                raise
            self._regain()
            self._heed_restart()
            reading = self._dialogue.read_listing()
        self.report.captures += 1
        self._dialogue.emit(Captured(count, len(reading.lines)))
        return reading

    def _canonical_of(self, reading: Reading) -> dict[int, str]:
        return canonical_lines(reading.lines, self._rules)

    def _difference(self, held: Mapping[int, str]) -> tuple[list[int], list[int]]:
        """Numbers to send and numbers to delete, so that what is held becomes the target."""
        send = [n for n, text in self._canonical.items() if held.get(n) != text]
        return send, sorted(set(held) - set(self._canonical))

    def _failure(self) -> ReadBackError:
        """What to say when the board cannot be brought to hold the program."""
        parts = []
        if self._verdict.wrong:
            parts.append(f"line {_numbers(self._verdict.wrong)} is missing or different")
        if self._verdict.stray:
            parts.append(f"line {_numbers(self._verdict.stray)} does not belong there")
        if self._verdict.unsettled:
            parts.append(f"line {_numbers(self._verdict.unsettled)} cannot be read reliably")
        number, answer = next(iter(self.report.answers.items()), (0, ""))
        said = f' To line {number} it answered "{answer}".' if answer else ""
        return ReadBackError(
            "The board does not hold the program that was sent: "
            f"{'; '.join(parts) or 'it could not be brought to a known state'}.{said}",
            kept="The listing is unchanged, and what the board held before is in the archive.",
            advice="Check the cable and the speed, and that the profile fits this board; then load "
            "again.",
        )

    # --- reporting ---------------------------------------------------------------------------

    def _data(self, number: int) -> bytes:
        return to_bytes(self._target[number].typed, self._rules.form.charset)

    def _progress(self, number: int, done: int, lines: int) -> None:
        sent = self._sent_bytes
        self._dialogue.emit(LineSent(number, done, lines, sent, self.report.bytes))

    def _repaired(self, number: int, why: str) -> None:
        self.report.repairs += 1
        self._dialogue.emit(LineRepaired(number, why))

    def _warn(self, text: str) -> None:
        self._dialogue.emit(Warned(text))


class FullError(ReadBackError):
    """The board's memory took a part of the program only."""

    def __init__(self, what: str, advice: Advice = "") -> None:
        super().__init__(
            what,
            kept="The listing is unchanged.",
            advice=advice or (lambda by: f"Make the listing smaller {by.shrink}."),
        )


class DeafError(FullError):
    """The board's memory is so full that it takes nothing any more."""

    def __init__(self, number: int | None) -> None:
        at = f" since line {number}" if number is not None else ""
        super().__init__(
            f"The board's memory is full, and{at} it takes nothing any more, not even LIST or NEW.",
            lambda by: (
                "Only a restart helps, by which the program in its memory is lost: restart "
                f"it {by.restart_discarding}. Then make the listing smaller {by.shrink}."
            ),
        )


def _are_alike(readings: Sequence[Reading]) -> bool:
    """Whether the last two readings show the same, and something."""
    if len(readings) < 2 or not readings[-1].rows:
        return False
    return readings[-1].rows == readings[-2].rows


def _numbers(numbers: tuple[int, ...]) -> str:
    """The first few line numbers, in words."""
    more = f" and {len(numbers) - 8} more" if len(numbers) > 8 else ""
    return ", ".join(map(str, numbers[:8])) + more
