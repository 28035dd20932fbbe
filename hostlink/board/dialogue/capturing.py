"""Read an unknown program from the board until it is proven.

How readings are combined is in captures.py, and when to stop in next_step.py. This module covers
what happens between them. The rules:

1. Error words, rows that are not lines, or a free memory that contradicts the listing mean that the
   program is not known. `NotKnownError` reports that, and a job that wants to overwrite the program
   must stop.
2. An empty program needs a positive sign (see empty.py).
3. A lasting contradiction between listing and free memory is part of the result and is never
   outvoted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hostlink.board.dialogue.captures import Tally, differing, standing_rows, tally, voting
from hostlink.board.dialogue.empty import check_empty, check_empty_by_memory, late_row
from hostlink.board.dialogue.events import Captured, Warned
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.dialogue.idle_rows import find_crossing
from hostlink.board.dialogue.misheard import after_a_digit, find_misheard_command
from hostlink.board.dialogue.next_step import MOST_CAPTURES, Case, Next, next_step
from hostlink.board.dialogue.reading import Reading
from hostlink.board.dialogue.witness import ProofDoubt, Witness, ask_witness, count_in
from hostlink.errors import LinkError, LinkReason, NotKnownError, ReadBackError
from hostlink.listing.canonical import listed_line
from hostlink.listing.parse import Line
from hostlink.sentences import (
    CHECK_WIRE,
    DAMAGED,
    IF_IT_PRINTS,
    NAME_IDLE_ROW,
    NOTHING_KEPT,
    STILL_ON_BOARD,
    STOP_PRINTING,
)
from hostlink.words import capital, lines_named, safe

if TYPE_CHECKING:
    from hostlink.board.dialogue.dialogue import Dialogue

_MORE_WHEN_DOUBTED = 2  # further readings if the free memory contradicts those that agree
_MOST_REFUSALS = 4  # consecutive answers to LIST that are not listings
_MOST_UNCLEAR = 12  # such answers in all before giving up


@dataclass(frozen=True, slots=True)
class Capture:
    """A board's program, proven as far as it can be.

    lines: by number. count: readings that were combined. doubt: what contradicts the listing, or
    None.
    """

    lines: dict[int, Line]
    count: int
    doubt: ProofDoubt | None = None

    @property
    def is_proven(self) -> bool:
        """Return whether nothing contradicts the listing."""
        return self.doubt is None


class Capturing:
    """Reads one program repeatedly, over a dialogue at its prompt."""

    def __init__(self, dialogue: Dialogue) -> None:
        self._dialogue = dialogue
        self._evidence = dialogue.evidence
        self._restarts = dialogue.wire.health.restarts
        self._disturbances = self._evidence.disturbances
        self._readings: list[Reading] = []
        self._fresh_from = 0  # readings after which a question stored as a line has been noticed
        self._enough = 0  # votes at which a contradiction is accepted

    def run(self) -> Capture:
        """Read until the program is known. See Dialogue.capture for the errors."""
        while True:
            self._read()
            if self._is_refused():
                return self._empty_by_memory()
            votes = voting(self._readings)
            needed = self._evidence.readings_needed(doubted=self._enough > 0)
            result = tally([r.lines for r in votes], needed, [r.order for r in votes])
            match next_step(self._case(votes, needed, result)):
                case Next.READ_AGAIN:
                    continue
                case Next.GIVE_UP:
                    raise self._no_agreement(result.unsettled)
            capture = self._settled(votes, result)
            if capture is not None:
                return capture
            if len(self._readings) >= MOST_CAPTURES:
                raise self._never_undisturbed()

    def _case(self, votes: Sequence[Reading], needed: int, result: Tally) -> Case:
        last = self._readings[-needed:]
        return Case(
            readings=len(self._readings),
            votes=len(votes),
            needed=needed,
            in_doubt=bool(result.unsettled),
            fresh=len(self._readings) >= self._fresh_from,
            steady=not self._may_have_changed(result),
            complete=bool(result.lines) or all(reading.is_bare for reading in last),
        )

    # --- reading -----------------------------------------------------------------------------

    def _read(self) -> None:
        """Take one more reading and note its evidence. Raises LinkError if memory seems lost."""
        readings = self._readings
        reading = self._dialogue.read_listing()
        readings.append(reading)
        lost = len(readings) > 2 and readings[0].lines and readings[-2].is_bare and reading.is_bare
        restarted = self._dialogue.wire.health.restarts > self._restarts
        if lost or restarted:
            raise LinkError(
                "The board restarted while its program was being read, and lost it."
                if restarted
                else "The board listed a program at first, but none the last two times.",
                reason=LinkReason.RESTARTED,
                kept=NOTHING_KEPT,
                advice=f"Check its supply. {IF_IT_PRINTS} An earlier copy may be in the archive.",
            )
        self._dialogue.emit(Captured(len(readings), len(reading.lines)))
        if len(readings) > 1:
            before = readings[-2]
            self._evidence.note(DamageSign.READINGS_DIFFER, differing(before.lines, reading.lines))
            # A row that is not a line may be a line whose beginning was damaged: a doubt by itself,
            # since two readings without that line would agree. A board's own words stay the same.
            self._evidence.note(DamageSign.OTHER_WORDS, int(before.around != reading.around))
        self._evidence.note(DamageSign.NO_LINE, len(set(reading.strays)))
        self._evidence.note(DamageSign.OUT_OF_ORDER, reading.descents)
        if self._was_disturbed():
            # What was typed may be a line now: this reading and the next would both show it.
            self._fresh_from = len(readings) + 1

    def _was_disturbed(self) -> bool:
        """Return whether text typed since the last call may have been stored as a line."""
        before, self._disturbances = self._disturbances, self._evidence.disturbances
        return self._disturbances > before

    # --- hostlink's own commands, stored as lines --------------------------------------------

    def _may_have_changed(self, result: Tally) -> bool:
        """Return whether the last reading suggests that the question changed the board.

        This is so if it is empty, or if it shows one of hostlink's commands or a repeated
        difference as a line that the other readings outvote.
        """
        *others, last = self._readings
        if result.lines and not last.lines:
            return True
        outvoted = {
            number: line for number, line in last.lines.items() if result.lines.get(number) != line
        }
        ours = self._own_command_in(last.lines)
        return (ours is not None and ours[0] in outvoted) or any(
            reading.lines.get(number) == line
            or (number in reading.lines and number not in result.lines)
            for number, line in outvoted.items()
            for reading in others
        )

    def _own_command_in(self, lines: Mapping[int, Line]) -> tuple[int, str] | None:
        """Find one of hostlink's commands that was stored as a line: its number, and the command.

        The command may be misheard, or stand after a digit that was already on the line. A line
        that the first reading has belongs to the program.
        """
        typed, own = self._dialogue.typed, self._readings[0].lines
        return find_misheard_command(lines, typed) or after_a_digit(lines, typed, own=own)

    def _delete_own_commands(self) -> str:
        """Delete hostlink commands that most readings show as a line; return a clause about them.

        A line of the program that damage made look like a command appears in few of them. The
        clause begins with a semicolon; it is empty if there is no such line.
        """
        shows = Counter(ours[0] for r in self._readings if (ours := self._own_command_in(r.lines)))
        said = ""
        for number, times in shows.items():
            if times > 1 and 2 * times > sum(number in r.lines for r in self._readings):
                said += f"; a command arrived as line {number}, which the board was told to delete"
                with suppress(LinkError):
                    self._dialogue.exchange(str(number))
        return said

    def _reject_own_command(self, lines: Mapping[int, Line]) -> None:
        """Delete one of hostlink's commands that was stored as a line, and raise LinkError."""
        ours = self._own_command_in(lines)
        if ours is None:
            return
        number, command = ours
        self._dialogue.exchange(str(number))
        raise LinkError(
            f'The command "{safe(command)}" was stored as line {number} of the program, because '
            f"{DAMAGED}; that line was deleted.",
            reason=LinkReason.DAMAGED,
            kept=f"All other lines are unchanged; its own line {number}, if it had one, is lost.",
            advice=f"{CHECK_WIRE} Then try again.",
        )

    # --- the result --------------------------------------------------------------------------

    def _settled(self, votes: Sequence[Reading], result: Tally) -> Capture | None:
        """Return the capture on which the readings agree, or None if more readings are needed."""
        rows = standing_rows(votes)
        self._refuse_own(_out_of_order(self._dialogue, self._readings, result.lines))
        self._refuse_cut_lines(votes, rows)
        witness = ask_witness(self._dialogue, result.lines)
        if self._was_disturbed():
            self._fresh_from = len(self._readings) + 1  # the question may be a line now
            return None
        if witness.is_doubtful and not self._enough:
            self._enough = len(votes) + _MORE_WHEN_DOUBTED
            self._dialogue.emit(Warned(f"{capital(str(witness))}. Reading it again to be sure."))
        if witness.is_doubtful and len(votes) < self._enough:
            return None
        if not result.lines:
            return self._empty(witness, result.count)
        if rows and not witness.agrees:
            raise self._unexplained(votes[-1], rows)
        if not witness.agrees:
            self._refuse_own(_only_line_printed(self._dialogue, result.lines))
        self._reject_own_command(result.lines)
        own = None if witness.agrees else count_in(votes[-1], self._dialogue.profile)
        return Capture(result.lines, result.count, witness.doubt or own)

    def _empty(self, witness: Witness, count: int) -> Capture | None:
        """Return the capture of an empty program, or None if a late row needs another reading."""
        late = check_empty(self._dialogue, witness)
        if not late:
            return Capture({}, count)
        self._readings.append(Reading({}, said=(late,), heard_right=False))
        return self._empty_by_memory() if self._is_refused() else None

    def _empty_by_memory(self) -> Capture:
        check_empty_by_memory(self._dialogue, self._readings)
        return Capture({}, len(self._readings))

    # --- what is not known -------------------------------------------------------------------

    def _is_refused(self) -> bool:
        """Return whether LIST is repeatedly answered by something that is not a listing."""
        unclear = [not reading.lines and not reading.is_bare for reading in self._readings]
        running = unclear[-_MOST_REFUSALS:]
        return (len(running) == _MOST_REFUSALS and all(running)) or sum(unclear) > _MOST_UNCLEAR

    def _unexplained(self, reading: Reading, rows: set[str]) -> NotKnownError:
        row = next((row for row in reading.around if row in rows), next(iter(rows)))
        return NotKnownError(
            f'With its listing the board shows "{safe(row[:60])}", which is not a line of a '
            "program: a part of the listing may be missing.",
            advice=lambda by: (
                "If the board always shows this row, add it to answer_rows in the profile, or have "
                f"it found {by.survey_discarding}, which discards what the board holds."
            ),
        )

    def _refuse_own(self, what: str) -> None:
        """Raise ReadBackError if a sentence says which line the board prints by itself."""
        if what:
            raise ReadBackError(what, kept=self._still_there, advice=STOP_PRINTING)

    def _refuse_cut_lines(self, votes: Sequence[Reading], rows: set[str]) -> None:
        """Raise ReadBackError if rows in the listing are not lines: the program would be cut.

        Damage causes such rows too, but not the same one in most of the readings.
        """
        for reading in votes:
            for number, row in reading.strays:
                if row in rows and row != reading.order[-1]:
                    raise ReadBackError(
                        f'At line {number} the board lists "{safe(row[:60])}", which is not a line '
                        "of a program; part of a line may have been wrapped.",
                        kept=self._still_there,
                        advice="Check list_form in the profile; if the board wraps long lines, "
                        f"make line {number} shorter on the board.",
                    )

    def _never_undisturbed(self) -> ReadBackError:
        return self._unread(
            f"The board's program was read {len(self._readings)} times, and something disturbed "
            "each check of it"
        )

    def _no_agreement(self, unsettled: Sequence[int]) -> ReadBackError:
        where = f" in {lines_named(unsettled)}" if unsettled else ""
        return self._unread(
            f"{len(self._readings)} captures of the board's program do not agree{where}"
        )

    @property
    def _still_there(self) -> str:
        return f"{self._evidence.unless_damaged(STILL_ON_BOARD)} {NOTHING_KEPT}"

    def _unread(self, what: str) -> ReadBackError:
        """Return the error for a failed reading. what: a sentence without its full stop."""
        return ReadBackError(
            f"{what}{self._delete_own_commands()}.",
            kept=self._still_there,
            advice=f"{CHECK_WIRE} {NAME_IDLE_ROW} Then try again.",
        )


def _out_of_order(
    dialogue: Dialogue, readings: Sequence[Reading], lines: Mapping[int, Line]
) -> str:
    """Return a sentence if the board prints one of several lines by itself, else ""."""
    pair = find_crossing(readings, lines, dialogue.profile.rules.form)
    if pair is None:
        return ""
    one, other = (f'"{safe(lines[number].typed[:40])}"' for number in pair)
    return (
        f"The board lists {one} before {other}, out of order: it prints one of them by itself, and "
        "that one is not in the program."
    )


def _only_line_printed(dialogue: Dialogue, lines: Mapping[int, Line]) -> str:
    """Return a sentence if the board prints its only line by itself, else ""."""
    row = late_row(dialogue) if len(lines) == 1 else ""
    if not row or listed_line(row, dialogue.profile.rules.form) not in lines.values():
        return ""
    return f'The board prints "{safe(row[:40])}", its only line, by itself.'
