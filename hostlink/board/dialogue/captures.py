"""Several readings of one program, combined line by line.

The wire has no checksum. Two readings that agree are enough only where nothing was noted against
the wire (see evidence.py); on a damaged wire the same byte may be lost twice. The rules:

1. A line is settled when one reading of it leads every other by `lead` votes and has three or more,
   or all of two. Not being there is a reading too, which must lead all others together; but not
   where a row that is no line stands in its place, as `hidden` tells.
2. An empty reading among full ones is a question that was damaged, and votes on no line; an answer
   that holds no lines but words never votes.
3. A capture may change the board: a damaged `LIST` may be stored as a line. So a stray line in
   the last capture, or what it shows against the verdict as another did, is never outvoted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hostlink.board.dialogue.reading import Reading
from hostlink.listing.parse import Line

_CLEAN, _DOUBTFUL = 2, 3  # votes needed, see Evidence.readings_needed
_BEHIND_ALL = 1 << 32  # above any line number

Lines = Mapping[int, Line]
Order = Sequence[int | str]  # see Reading.order


@dataclass(frozen=True, slots=True)
class Tally:
    """Captures combined. lines: settled ones by number. unsettled: numbers still in doubt."""

    count: int
    lines: dict[int, Line]
    unsettled: tuple[int, ...]


def voting(readings: Sequence[Reading]) -> list[Reading]:
    """Return the readings that have a vote: without bare ones where most show lines."""
    full = [reading for reading in readings if reading.lines]
    bare = [reading for reading in readings if reading.is_bare]
    return full if len(full) > len(bare) else [r for r in readings if r.lines or r.is_bare]


def tally(captures: Sequence[Lines], need: int, orders: Sequence[Order] = ()) -> Tally:
    """Combine captures (line number to line) under the rules above.

    orders: of each capture all its rows as they came, where that is known.
    """
    numbers = sorted({number for rows in captures for number in rows})
    unread = hidden(orders, numbers) if orders else [set[int]()] * len(captures)
    lines: dict[int, Line] = {}
    unsettled: list[int] = []
    for number in numbers:
        readings = [
            rows.get(number)
            for rows, unclear in zip(captures, unread, strict=True)
            if number in rows or number not in unclear
        ]
        votes = Counter(line.typed if line else None for line in readings).most_common(2)
        winner, count = votes[0]
        runner_up = votes[1][1] if len(votes) > 1 else 0
        if winner is None:  # the many damages of a number all make it absent, of a text other texts
            runner_up = len(readings) - count
        if not _settled(count, runner_up, need):
            unsettled.append(number)
        elif winner is not None:
            lines[number] = next(line for line in readings if line and line.typed == winner)
    return Tally(len(captures), lines, tuple(unsettled))


def hidden(orders: Sequence[Order], numbers: Sequence[int]) -> list[set[int]]:
    """For each capture the numbers whose lines may be there, though they were not read.

    In their place between lines that most captures have stands a row that is no line, or a number
    that few have: it may be theirs, damaged. The board's own words come each time and are neither.
    """
    times = Counter(each for order in orders for each in set(order))
    found: list[set[int]] = []
    for order in orders:
        unclear = set[int]()
        before = begin = 0
        odd = False
        for each in [*order, _BEHIND_ALL]:
            if isinstance(each, str):
                odd = odd or times[each] == 1
            elif each != _BEHIND_ALL and 2 * times[each] <= len(orders):
                odd = True
            else:
                if each <= begin:
                    begin, odd = before, True  # what came before this one was out of its place
                if odd:
                    unclear.update(number for number in numbers if begin < number < each)
                before, begin, odd = begin, each, False
        found.append(unclear)
    return found


def differing(before: Lines, after: Lines) -> int:
    """Count the lines in which two readings differ."""
    return sum(
        1
        for number in {*before, *after}
        if (number not in before)
        or (number not in after)
        or before[number].typed != after[number].typed
    )


def standing_rows(readings: Sequence[Reading]) -> set[str]:
    """Return the rows that are no line and stand in most of the readings: not made by damage."""
    times = Counter(row for reading in readings for row in set(reading.unexplained))
    return {row for row, count in times.items() if count > 1 and 2 * count > len(readings)}


def whole(unexplained: Sequence[Sequence[str]]) -> int:
    """How many captures show nothing but lines and the board's own words, which come each time.

    unexplained: of each capture the rows that are no line. One may be a line that does not belong
    there, its number damaged, so a capture with such a row is no witness that there is none.
    """
    times = Counter(row for rows in unexplained for row in set(rows))
    return sum(all(times[row] > 1 for row in rows) for rows in unexplained)


def _settled(votes: int, runner_up: int, need: int) -> bool:
    if need == _CLEAN:
        return votes >= _CLEAN and runner_up == 0
    lead = 2 if need == _DOUBTFUL else 3
    return votes >= 3 and votes - runner_up >= lead


@dataclass(frozen=True, slots=True)
class Verdict:
    """What captures say of a program that should be on the board.

    wrong: numbers that hold something else or nothing. stray: numbers that should not be there.
    unsettled: numbers that need another capture.
    """

    wrong: tuple[int, ...]
    stray: tuple[int, ...]
    unsettled: tuple[int, ...]

    @property
    def proven(self) -> bool:
        """Return whether the board holds exactly what was sent."""
        return not (self.wrong or self.stray or self.unsettled)


def verdict(
    captures: Sequence[Mapping[int, str]], target: Mapping[int, str], *, clean: bool
) -> Verdict:
    """Compare captures with what was sent, both as line number to canonical text.

    A line that was heard exactly as sent counts for the board: damage on the wire would have to
    mend damage on the board by chance. On a clean wire once is enough, else it must be heard so
    twice and more often than anything else; and so must a difference. Where the last capture has
    a line that does not belong, or a difference that was heard before, the board may have come to
    hold it in between.
    """
    wrong: list[int] = []
    stray: list[int] = []
    unsettled: list[int] = []
    quorum = 1 if clean else 2
    for number in sorted({*target, *(number for rows in captures for number in rows)}):
        want = target.get(number)
        votes = Counter(rows.get(number) for rows in captures)
        right = votes.pop(want, 0)
        other = max(votes.values(), default=0)
        latest = captures[-1].get(number)
        came = latest != want and (want is None or votes[latest] >= 2)
        if right >= quorum and right > other and not came:
            continue
        if other >= quorum and other > right:
            (wrong if number in target else stray).append(number)
        else:
            unsettled.append(number)
    return Verdict(tuple(wrong), tuple(stray), tuple(unsettled))
