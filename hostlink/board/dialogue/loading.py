"""Load a program into a board and prove it by reading it back.

Rules:
1. The first pass sends at full speed (sending.py) and stops at the first sign of damage.
2. After damage: wait until the board is quiet, regain the prompt (a program that the damage started
   may be interrupted), read the program, and send the difference line by line.
3. Every pass ends with a read-back (read_back.py), which alone decides. Wrong lines are sent again
   and lines that do not belong are deleted, at most MOST_ROUNDS times.
4. If the board restarted, or the rounds are used up, the load starts over from an empty memory, at
   most MOST_STARTS times in all. Then it fails and names the lines that differ.
5. Without echo, a line that is listed differently from how it was sent, while most are not, is sent
   again even if the profile allows the change. If it is listed so again, the board changes it.
"""

from __future__ import annotations

from collections.abc import Mapping

from hostlink.board.dialogue.captures import Verdict, standing_rows
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Captured, Phase, Warned
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.dialogue.learning import BoardRewritesError, Learned, learn
from hostlink.board.dialogue.no_prompt_errors import lost_prompt
from hostlink.board.dialogue.own_rows import is_count
from hostlink.board.dialogue.read_back import ReadBack
from hostlink.board.dialogue.reading import Reading, refuse_colours
from hostlink.board.dialogue.sending import DeafError, LoadReport, Sending
from hostlink.errors import LinkError, LinkReason, NotClearedError, ReadBackError, RefusedError
from hostlink.link.regain import FoundState
from hostlink.listing.canonical import canonical_lines
from hostlink.listing.parse import Line
from hostlink.sentences import CHECK_WIRE_AND_PROFILE, LISTING_UNCHANGED
from hostlink.words import lines_named

MOST_ROUNDS = 4
MOST_STARTS = 3
_MAY_PASS = (LinkReason.SILENT, LinkReason.DAMAGED, LinkReason.FLOODING)


class _StartOver(Exception):
    """The state of the board is unknown; the load must start over."""


class Loader:
    """Loads one program into a board. target: its lines by number."""

    def __init__(self, dialogue: Dialogue, target: Mapping[int, Line]) -> None:
        self._dialogue = dialogue
        self._rules = dialogue.profile.rules
        self._target = dict(sorted(target.items()))
        self._canonical = canonical_lines(self._target, self._rules)
        self._sending = Sending(dialogue, self._target)
        self.report = self._sending.report
        self._verdict = Verdict((), (), ())
        self._read_back = ReadBack(
            self._canonical, self._rules, dialogue.evidence, self._read, echo=dialogue.pacing.echo
        )
        self._before: Learned | None = None  # from the read-back before the last one

    def load(self, held: Mapping[int, Line] | None = None) -> LoadReport:
        """Load the program and return once a read-back has proven it.

        held: the lines that the board holds, to send only the difference; None clears it first.
        Raises ReadBackError if the program cannot be proven, LinkError if the link fails.
        """
        while self.report.starts < MOST_STARTS:
            self.report.starts += 1
            self._verdict = Verdict((), (), ())
            why = "The program is still not proven"
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
                why = "The board's state is no longer known"
            except LinkError as error:
                if error.reason is LinkReason.FULL:
                    raise DeafError(self._sending.stopped_at) from error
                raise
            held = None
            if self.report.starts < MOST_STARTS:
                self._warn(f"{why}; starting over with an empty memory.")
        raise self._failure()

    def differs(self, held: Mapping[int, Line]) -> bool:
        """Return whether the lines that a board holds are not those of the program."""
        return canonical_lines(held, self._rules) != self._canonical

    def added(self, held: Mapping[int, Line]) -> dict[int, Line]:
        """Return the lines on a board that are missing from the program or differ from it."""
        now = canonical_lines(held, self._rules)
        return {n: line for n, line in held.items() if now.get(n) != self._canonical.get(n)}

    def _clear(self) -> None:
        """Clear the program memory. Raises NotClearedError only if nothing was sent before."""
        try:
            self._dialogue.clear()
        except NotClearedError as error:
            if self.report.starts == 1:
                raise
            raise RefusedError(error.what, advice=error.advice) from error

    # --- rounds ------------------------------------------------------------------------------

    def _rounds(self, send: list[int], delete: list[int], *, fast: bool) -> bool:
        """Send, read back and send the difference; return False if the rounds are used up."""
        rewritten: dict[int, str] = {}
        for left in reversed(range(1 + MOST_ROUNDS)):
            sent = self._sending.fast(send) if fast else self._sending.carefully(send, delete)
            fast = False
            self._raise_if_restarted()
            if not sent:
                self._regain()
                send, delete = self._difference(canonical_lines(self._read(1).lines, self._rules))
                continue
            deleted = delete
            self._verdict = self._verify()
            if self._learn_own_row(deleted):
                self._verdict = self._verify()
            if self._verdict.proven:
                before, rewritten = rewritten, self._rewritten()
                if not left or rewritten in ({}, before):
                    self._learn_around()
                    return True
                send, delete = list(rewritten), []
                continue
            self._raise_if_rewritten()
            send, delete = list(self._verdict.wrong), list(self._verdict.stray)
            send += [n for n in self._verdict.unsettled if n in self._target]
            delete += [n for n in self._verdict.unsettled if n not in self._target]
        return False

    def _rewritten(self) -> dict[int, str]:
        """Return, by number, the texts that are listed differently from how they were sent.

        {} with echo, or if most lines differ. Without echo, a blank may have been lost on the way,
        even if the profile says that the board changes blanks.
        """
        if self._dialogue.pacing.echo:
            return {}
        last = self._read_back.readings[-1].lines
        texts = {number: last[number].text for number in self._target if number in last}
        other = {n: text for n, text in texts.items() if text != self._target[n].text}
        return other if 2 * len(other) <= len(texts) else {}

    def _learn_own_row(self, deleted: list[int]) -> bool:
        """Take a first or last row for the board's own if it stayed after its number was deleted.

        Returns whether there was one.
        """
        count = self._count()
        if count is None or count.number not in deleted:
            return False
        self._dialogue.take_own_row(count.typed)
        return True

    def _learn_around(self) -> None:
        """Take the rows around the proven program for the board's own if no survey named them."""
        readings = self._read_back.readings
        if self._dialogue.profile.is_unmeasured:
            for row in sorted(standing_rows(readings) & set(readings[-1].around)):
                self._dialogue.take_own_row(row)

    def _count(self) -> Line | None:
        """Return a first or last line that was not sent and reads as a count (`12 LINES`)."""
        reading = self._read_back.readings[-1]
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

    def _raise_if_restarted(self) -> None:
        if self._dialogue.restarted():
            self._warn("The board restarted and lost its program memory.")
            raise _StartOver

    def _raise_if_rewritten(self) -> None:
        """Raise BoardRewritesError if the board changes lines in the same way twice.

        On a clean wire with echo one round is enough to see what many lines have in common; on
        another the lines must have been sent again in between.
        """
        readings = self._read_back.readings
        if len(readings) < 2 or readings[-1].rows != readings[-2].rows:
            return
        if self._count() is not None:  # deleted first: if it stays, it is the board's own row
            return
        learned = learn(self._target, readings[-1].rows, self._rules)
        evidence = self._dialogue.evidence
        steady = (
            evidence.total == evidence.notes[DamageSign.NOT_AS_SENT] and self._dialogue.pacing.echo
        )
        before, self._before = self._before, learned
        refuse_colours(readings[-1].rows, self._dialogue.profile)
        if learned == before or (steady and learned.explains_all and learned.is_plain):
            raise BoardRewritesError(learned, self.report.answers)

    def _regain(self) -> None:
        core = self._dialogue.regain(may_interrupt=True)
        if core.found is FoundState.PROMPT:
            return
        raise lost_prompt(core, self._dialogue.pacing.prompt, self._dialogue.standing_row)

    # --- reading back ------------------------------------------------------------------------

    def _verify(self) -> Verdict:
        """Read the program back and compare it with what was sent."""
        self._dialogue.emit(Phase("Reading back"))
        return self._read_back.run()

    def _read(self, count: int) -> Reading:
        """Read the program once, after a wait if the board restarts or stalls."""
        try:
            reading = self._dialogue.read_listing()
        except LinkError as error:
            if error.reason not in _MAY_PASS:
                raise
            self._regain()
            self._raise_if_restarted()
            reading = self._dialogue.read_listing()
        self.report.captures += 1
        self._dialogue.emit(Captured(count, len(reading.lines)))
        return reading

    def _difference(self, held: Mapping[int, str]) -> tuple[list[int], list[int]]:
        """Return the line numbers to send and to delete to turn `held` into the program."""
        send = [n for n, text in self._canonical.items() if held.get(n) != text]
        return send, sorted(set(held) - set(self._canonical))

    def _failure(self) -> ReadBackError:
        """Return the error that names the lines in which the board differs from the program."""
        parts = []
        if wrong := self._verdict.wrong:
            parts.append(f"missing or different: {lines_named(wrong)}")
        if stray := self._verdict.stray:
            parts.append(f"not part of it: {lines_named(stray)}")
        if unsettled := self._verdict.unsettled:
            parts.append(f"not read reliably: {lines_named(unsettled)}")
        if self._verdict.unread and not parts:
            parts.append("its answers to LIST could not be read")
        number, answer = next(iter(self.report.answers.items()), (0, ""))
        said = f' To line {number} it answered "{answer}".' if answer else ""
        return ReadBackError(
            "The board does not hold the program that was sent: "
            f"{'; '.join(parts) or 'it could not be brought to a known state'}.{said}",
            kept=LISTING_UNCHANGED,
            advice=f"{CHECK_WIRE_AND_PROFILE} Then load again.",
        )

    def _warn(self, text: str) -> None:
        self._dialogue.emit(Warned(text))
