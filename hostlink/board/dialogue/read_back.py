"""Read back a program that was sent, until it is clear whether the board holds it.

The counterpart of capturing.py for a known program. It does not know the board: it asks for
readings, notes their signs of damage in the evidence, and combines them (captures.py) until
next_step.py decides to stop.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from hostlink.board.dialogue.captures import Verdict, count_explained, verdict, voting
from hostlink.board.dialogue.evidence import DamageSign, Evidence
from hostlink.board.dialogue.next_step import Case, Next, next_step
from hostlink.board.dialogue.reading import Reading
from hostlink.listing.canonical import canonical_lines
from hostlink.listing.rules import Rules

# Readings of a board whose words around the listing change each time, after which these no longer
# count against the program.
_MOST_NOT_WHOLE = 8


class ReadBack:
    """Reads a program back as often as the state of the wire requires.

    target: canonical text by line number. read: takes one reading; its argument counts the
    readings of this read-back from 1. echo: whether the board echoes what is typed.
    """

    def __init__(
        self,
        target: Mapping[int, str],
        rules: Rules,
        evidence: Evidence,
        read: Callable[[int], Reading],
        *,
        echo: bool,
    ) -> None:
        self._target = target
        self._rules = rules
        self._evidence = evidence
        self._read = read
        self._echo = echo
        self.readings: list[Reading] = []
        """The readings of the last run that may be compared with each other."""

    def run(self) -> Verdict:
        """Read until the verdict is settled, or further readings would not settle it."""
        evidence = self._evidence
        disturbances = evidence.disturbances
        readings = self.readings = []
        taken = 0
        while True:
            taken += 1
            readings.append(self._read(taken))
            if evidence.disturbances > disturbances:
                disturbances = evidence.disturbances
                del readings[:-1]  # what was typed may be a line now
            votes = voting(readings)
            clean = self._needed == 1
            result = self._judge(votes, clean=clean)
            # This note demands one more reading before anything is called wrong on a clean wire.
            evidence.note_at_least(DamageSign.NOT_AS_SENT, len(result.wrong) + len(result.stray))
            if not votes and _are_alike(readings):
                return result  # words that are not a listing, or a listing of an unknown form
            complete = not result.proven or self._is_whole(votes, clean=clean)
            if not complete and len(readings) > 1:
                # A board's own words would have come twice by now.
                evidence.note(DamageSign.OTHER_WORDS)
            case = Case(
                readings=taken,
                votes=len(votes),
                needed=self._needed,
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
                evidence.note(DamageSign.READINGS_DIFFER)

    @property
    def _needed(self) -> int:
        return self._evidence.agreeing_needed(echo=self._echo)

    def _judge(self, votes: Sequence[Reading], *, clean: bool) -> Verdict:
        if not votes:
            return Verdict((), (), tuple(self._target), unread=True)
        held = [canonical_lines(reading.lines, self._rules) for reading in votes]
        return verdict(held, self._target, clean=clean)

    def _is_whole(self, votes: Sequence[Reading], *, clean: bool) -> bool:
        """Return whether enough readings have no row that could hide a line not sent."""
        # A reading that shows nothing of a program has no row that could hide a line of it.
        full = [each for each in votes if each.lines] if self._target else votes
        return count_explained([each.unexplained for each in full]) >= (1 if clean else 2)


def _are_alike(readings: Sequence[Reading]) -> bool:
    """Return whether the last two readings are the same and not empty."""
    if len(readings) < 2 or not readings[-1].rows:
        return False
    return readings[-1].rows == readings[-2].rows
